"""Write a run as one HTML file that needs nothing else: no script, no network, prints well.

The first thing it says is the verdict and what to do; 'finished' is followed by the limits that
were exceeded and never implies a good repair. Everything stored is escaped (`markup`); a content
policy in the page forbids whatever should slip through to run or load.
"""

from datetime import UTC, datetime, tzinfo
from pathlib import Path

import numpy as np

from emberbed import words
from emberbed.report import display
from emberbed.report.chart import run_chart_svg
from emberbed.report.markup import Markup, facts, joined, sentences, table, tag
from emberbed.report.page_style import STYLE
from emberbed.report.run_view import RunView, chart_of, prompt_of, seconds_of, view_of
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore

_POLICY = "default-src 'none'; style-src 'unsafe-inline'"

_NOT_SHOWN = [
    "Whether the repair is good: look at the joints, then test the board.",
    "Temperatures anywhere but at the beads. A joint under a chip can be hotter or cooler.",
    "Whether the independent thermal cut-out works. This run neither tested nor replaces it.",
    "Rates over less than 10 s: the figures are slopes over windows of 10 s.",
    "A record replaced as a whole. The fingerprint shows later changes to this record; to show"
    " that it is still the same record, compare it with a fingerprint kept elsewhere.",
]


def write_run_page(store: RunStore, run_id: int, path: Path | str) -> None:
    """Write the page of run `run_id`; StoreError when the file cannot be written."""
    page = run_page(view_of(store, run_id))
    try:
        Path(path).write_text(page, encoding="utf-8", newline="\n")
    except OSError as error:
        raise StoreError(
            f"{path} cannot be written ({error.strerror}); name another file for the run page"
        ) from error


def run_page(view: RunView) -> str:
    """Return the page as text."""
    heading = f"Run {view.run.id}: {view.run.profile_name}"
    body = tag("main", *_sections(view, heading))
    head = joined(
        Markup('<meta charset="utf-8">'),
        Markup(f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'),
        Markup('<meta name="viewport" content="width=device-width, initial-scale=1">'),
        tag("title", heading),
        tag("style", Markup(STYLE)),
    )
    return f"<!doctype html>\n{tag('html', tag('head', head), tag('body', body), lang='en')}\n"


def _sections(view: RunView, heading: str) -> list[Markup]:
    return [
        tag("h1", heading),
        tag("p", _when(view), class_="lead"),
        _verdict(view),
        _figure(view),
        _section("Stages", _stages(view)),
        _section("Figures", _figures(view)),
        _section("Sensors", _sensors(view)),
        _section("Events", _events(view)),
        _section("This run", _facts(view)),
        _section("What this page does not show", sentences(_NOT_SHOWN)),
    ]


def _section(heading: str, content: Markup) -> Markup:
    return tag("section", tag("h2", heading), content)


def _when(view: RunView) -> str:
    heater = "Simulated heater, no board was heated" if view.run.simulated else "Real heater"
    return f"{_local(view.run.started_utc)}, {display.clock(view.figures.duration_s)} recorded." + (
        f" {heater}."
    )


def _local(stored: str) -> str:
    """Return a stored time in the reader's own zone, with its distance to UTC."""
    return _written_time(stored, None, "%Y-%m-%d %H:%M:%S (UTC%z)")


def _utc(stored: str | None) -> str:
    return display.NOTHING if stored is None else _written_time(stored, UTC, "%Y-%m-%d %H:%M:%S")


def _written_time(stored: str, zone: tzinfo | None, pattern: str) -> str:
    try:
        return datetime.fromisoformat(stored).astimezone(zone).strftime(pattern)
    except (ValueError, OverflowError, OSError):  # changed in the store: show what is there
        return stored


def _verdict(view: RunView) -> Markup:
    exceeded = view.figures.limits_exceeded
    parts = [tag("strong", words.verdict_words(view.run.state, len(exceeded)))]
    if view.trip_words is not None:
        parts.append(tag("p", view.trip_words.happened))
        parts.append(tag("p", tag("b", "What to do: "), view.trip_words.mend))
        parts.append(tag("p", words.HOT))
    if exceeded:
        parts.append(tag("p", "Limits exceeded:"))
        parts.append(sentences(exceeded))
    if view.run.state == "finished":
        parts.append(tag("p", "Finished says that the stages ran, not that the repair is good."))
    bad = view.run.state not in ("open", "finished") or exceeded
    verdict = tag("div", *parts, class_="verdict bad" if bad else "verdict")
    return joined(verdict, _tampering(view))


def _tampering(view: RunView) -> Markup:
    if not view.audit:
        return Markup("")
    warning = tag("strong", "This record was changed or damaged after it was stored.")
    return tag("div", warning, sentences(view.audit[:10]), class_="verdict bad")


def _figure(view: RunView) -> Markup:
    if not len(view.series):
        return tag("p", "No record was stored, so there is no curve to show.")
    caption = (
        "Each sensor as measured; dashes in the text's colour: what was asked for. Shaded: every"
        " other stage. Dotted lines: the numbered events below."
    )
    drawn = Markup(run_chart_svg(chart_of(view)))
    return tag("figure", drawn, tag("figcaption", caption))


def _stages(view: RunView) -> Markup:
    if not view.figures.stages:
        return tag("p", "The stages of this run cannot be read by this version of emberbed.")
    rows: list[list[object]] = []
    for stage in view.figures.stages:
        prompt = prompt_of(view, stage.number - 1)
        rows.append(
            [
                f"{stage.number} {stage.kind}" + (f": {prompt}" if prompt else ""),
                display.celsius(stage.target_c),
                display.clock(stage.planned_s) if stage.planned_s is not None else "open",
                display.clock(stage.taken_s) if stage.taken_s else "not reached",
                display.clock(stage.in_band_s if stage.taken_s else None),
            ]
        )
    return table(["stage", "to", "planned", "taken", "time in band"], rows)


def _figures(view: RunView) -> Markup:
    figures = view.figures
    control = figures.control_channel
    name = view.names.get(control, f"channel {control}") if control is not None else "no sensor"
    pairs: list[tuple[str, object]] = [
        ("largest ramp", f"{display.rate(figures.largest_ramp_c_per_s)} at {name}"),
        ("largest cooling rate", f"{display.rate(figures.largest_cooling_c_per_s)} at {name}"),
        ("limits exceeded", str(len(figures.limits_exceeded))),
        ("energy", display.energy(figures.energy_j)),
        ("records", f"{view.run.ticks}, {display.clock(figures.duration_s)} in all"),
        ("longest gap", f"{figures.longest_gap_s:.1f} s" if figures.longest_gap_s else "none"),
    ]
    return facts(pairs)


def _sensors(view: RunView) -> Markup:
    rows: list[list[object]] = []
    for channel, name in view.names.items():
        role = limit = display.NOTHING
        if view.plan is not None:
            role = words.role_words(view.plan.header[f"role{channel}"])
            limit_cdeg = view.plan.header[f"limit{channel}_cdeg"]
            limit = display.celsius(limit_cdeg / 100) if limit_cdeg else display.NOTHING
        converter = view.device.channels[channel].converter if view.device else display.NOTHING
        peak = display.celsius(view.figures.peaks_c.get(channel))
        rows.append([name, role, converter, limit, peak, _lost_readings(view, channel)])
    heads = ["sensor", "what for", "converter", "limit", "peak", "ticks without reading"]
    return table(heads, rows, numbers_from=3)


def _lost_readings(view: RunView, channel: int) -> str:
    return str(int(np.isnan(view.series.channels_c[channel]).sum()))


def _events(view: RunView) -> Markup:
    if not view.events:
        return tag("p", "No events were stored.")
    rows: list[list[object]] = [
        [event.number, display.clock(seconds_of(view, event)), event.sentence]
        for event in view.events
    ]
    return table(["", "time", "what happened"], rows, numbers_from=3, class_="events")


def _facts(view: RunView) -> Markup:
    run = view.run
    checked = "does not fit the record, see above" if view.audit else "fits the record"
    pairs: list[tuple[str, object]] = [
        ("profile", run.profile_name),
        ("board", _board(view)),
        ("run number", run.id),
        ("started, local", _local(run.started_utc)),
        ("started, UTC", _utc(run.started_utc)),
        ("ended, UTC", _utc(run.ended_utc)),
        ("exit code", display.NOTHING if run.exit_code is None else run.exit_code),
        ("device", f"{run.device}, firmware on {run.engine}"),
        ("heater", _heater(view)),
        ("firmware", run.firmware_version),
        ("firmware fingerprint", tag("code", run.firmware_digest)),
        ("emberbed on the PC", run.host_version),
        ("record fingerprint", joined(tag("code", run.head_sha256), f" ({checked})")),
    ]
    if run.simulated:
        seed = display.NOTHING if run.seed is None else run.seed
        pairs.insert(9, ("simulation", f"seed {seed}, speed {run.speed}"))
    return facts(pairs)


def _board(view: RunView) -> str:
    """Return what the profile says about the board; a profile may be of another version."""
    board = view.profile.get("board")
    given = board if isinstance(board, dict) else {}
    parts = [f"{given['mass_g']} g"] if "mass_g" in given else []
    if "length_mm" in given and "width_mm" in given:
        parts.append(f"{given['length_mm']} × {given['width_mm']} mm")
    parts += [str(view.profile[key]) for key in ("laminate", "alloy") if key in view.profile]
    return ", ".join(parts) or display.NOTHING


def _heater(view: RunView) -> str:
    watts = [zone.watts for zone in view.device.zones if zone.watts] if view.device else []
    return " + ".join(f"{zone} W" for zone in watts) or display.NOTHING
