"""What a helper process of the page works out: checks and rehearsals of a profile's text.

In a process of its own, so that the loop that answers for the heat never waits for it, and so that
the process that reaches a real heater never loads the simulation. Takes and gives plain data; the
messages are those of `emberbed check` and `emberbed rehearse`.
"""

from pathlib import Path
from typing import TYPE_CHECKING, Any

from emberbed.bench.prepare import NotReady, judge
from emberbed.device_description import decode_settings
from emberbed.profiles.check import has_errors
from emberbed.profiles.compile import prompts
from emberbed.profiles.reader import ProfileFile, ProfileMistakes, parse_profile
from emberbed.profiles.timing import peak_cdeg, spans
from emberbed_fw.units import TICKS_PER_S

if TYPE_CHECKING:
    from emberbed.learn.identified import Identified
    from emberbed.rehearse import Rehearsal

Answer = dict[str, Any]


def checked(text: str, shown: str, folder: Path | None = None) -> Answer:
    """Return the findings on a profile's text, and what it would ask for.

    folder: where its base may lie, beside the shipped profiles.
    """
    try:
        profile_file = parse_profile(text.encode(), shown, folder=folder)
    except ProfileMistakes as mistakes:
        return {"may_run": False, "findings": [_mistake(one) for one in mistakes.sentences]}
    from emberbed.rehearse import bench_of, bench_settings

    findings = judge(profile_file, decode_settings(bench_settings(bench_of(profile_file))))
    return {
        "may_run": not has_errors(findings),
        "findings": [found.as_json() for found in findings],
        **wanted(profile_file),
    }


def rehearsed(
    text: str, shown: str, heater: "Identified | None", folder: Path | None = None
) -> Answer:
    """Return the predicted run, on this heater if one is known: its curve, its figures, its end."""
    from emberbed import rehearse

    try:
        done, lines = _rehearsal(parse_profile(text.encode(), shown, folder=folder), heater)
    except (ProfileMistakes, NotReady) as mistakes:
        return {"sentences": mistakes.sentences}
    curve = rehearse.predicted_curve(done)
    return {
        **rehearse.as_json(done),
        "press_s": _press_s(curve),
        "control": done.prepared.profile_file.model.control_sensor(),
        "stage_of": [record.stage for record in done.records[::TICKS_PER_S]],
        "said": lines[lines.index("") + 1 :],
    }


def _rehearsal(
    profile_file: ProfileFile, heater: "Identified | None"
) -> tuple["Rehearsal", list[str]]:
    from emberbed import rehearse

    if heater is None:
        done = rehearse.rehearse(profile_file)
        return done, rehearse.as_lines(done)
    from emberbed.rehearse_heater import OnHeater

    on_heater = OnHeater(profile_file, heater)
    done = rehearse.rehearse(profile_file, bench=on_heater.bench())
    more = [f"{note}." for note in done.about_heater] + on_heater.left_out()
    return done, rehearse.as_lines(done, more, on_heater.worth())


def wanted(profile_file: ProfileFile) -> Answer:
    """Return a profile as a table, and the line it asks for over its planned time."""
    profile = profile_file.model
    seconds, line, stages = 0.0, [], []
    for span in spans(profile):
        line.append([seconds, span.from_cdeg / 100, span.index])
        seconds += span.planned_ticks / TICKS_PER_S
        line.append([seconds, span.to_cdeg / 100, span.index])
        planned_s = span.planned_ticks / TICKS_PER_S
        stages.append({"kind": span.stage.kind, "planned_s": planned_s or None})
    return {
        "name": profile.name,
        "alloy": profile.alloy,
        "laminate": profile.laminate,
        "board": None if profile.board is None else profile.board.model_dump(),
        "sensors": {name: one.role for name, one in profile.sensors.items()},
        "asks": prompts(profile),
        "peak_c": peak_cdeg(profile) / 100,
        "heating_s": seconds,
        "line": line[:-1],
        "stages": stages,
    }


def _mistake(sentence: str) -> Answer:
    place = sentence.split(":")[1:2]
    line = int(place[0]) if place and place[0].isdecimal() else None
    return {"severity": "error", "line": line, "stage": None, "sentence": sentence}


def _press_s(curve: list[dict[str, float | None]]) -> float:
    """Return when heat was first on: the page lays curves over each other from there."""
    heated = (row["seconds"] for row in curve if row["power_percent"])
    return next(heated, 0.0) or 0.0


def titles(texts: list[str], folder: Path | None = None) -> list[Answer]:
    """Return for each text what a list of profiles shows of it."""
    return [_title(text, folder) for text in texts]


def _title(text: str, folder: Path | None) -> Answer:
    try:
        profile = parse_profile(text.encode(), "", folder=folder).model
    except ProfileMistakes as mistakes:
        return {"title": "", "mistakes": len(mistakes.sentences)}
    heating = sum(span.planned_ticks for span in spans(profile)) / TICKS_PER_S
    return {
        "title": profile.name,
        "peak_c": peak_cdeg(profile) / 100,
        "heating_s": heating,
        "asks": len(prompts(profile)),
        "mistakes": 0,
    }
