"""The report of a run on paper: one A4 page, a second one only where much happened.

The same facts as the run's web page (`run_page`), chosen for a folder: verdict, curve with stages
and limits, measured against wanted, what happened and who did it, what can be checked later.
"""

from collections.abc import Iterator
from pathlib import Path

from emberbed import words
from emberbed.report import display
from emberbed.report.blocks import Block, Drawing, Facts, Heading, Log, Rows, Sheet, Verdict
from emberbed.report.chart_caption import caption_of
from emberbed.report.paper_blocks import write_paper
from emberbed.report.run_facts import board_words, heater_words, lead_words
from emberbed.report.run_view import RunView, chart_of, view_of
from emberbed.report.signs import grouped_signs
from emberbed.report.wanted import HEADS, limit_words, wanted_rows
from emberbed.store.run_store import RunStore
from emberbed.touch_words import source_words


def write_run_report(store: RunStore, run_id: int, path: Path) -> None:
    """Write the report of run `run_id` as a PDF; StoreError when the file cannot be written."""
    write_paper(run_report(view_of(store, run_id)), path)


def run_report(view: RunView) -> Sheet:
    run = view.run
    return Sheet(
        title=f"Run {run.id}: {run.profile_name}",
        lead=lead_words(view),
        blocks=tuple(_blocks(view)),
        foot=f"Run {run.id}, record fingerprint {run.head_sha256}",
    )


def _blocks(view: RunView) -> Iterator[Block]:
    yield _verdict(view)
    if len(view.series):
        chart = chart_of(view)
        yield Drawing(chart, caption_of(chart, in_colour=False))
    rows = tuple(tuple(row) for row in wanted_rows(view))
    if rows:
        yield Heading("Measured against wanted")
        yield Rows(HEADS, rows, (0.27, 0.27, 0.36, 0.1))
    yield Heading("What happened, when, at what board temperature, and who did it")
    yield Log(tuple(_entries(view)))
    yield Heading("This run")
    yield Facts(tuple(_facts(view)))


def _verdict(view: RunView) -> Verdict:
    run, ending, exceeded = view.run, view.ending, view.figures.limits_exceeded
    lines = [f"{trip.happened} {trip.mend}" for trip in ending.trips]
    lines += [*ending.cautions(), *exceeded]
    if view.audit:
        lines.append("This record was changed or damaged after it was stored:")
        lines += grouped_signs(view.audit)
    if run.state == "finished":
        lines.append("Finished says that the stages ran, not that the repair is good.")
    bad = bool(exceeded or view.audit) or run.state not in ("open", "finished")
    return Verdict(
        words.verdict_words(run.state, len(exceeded), ending.energy_j), tuple(lines), bad
    )


def _entries(view: RunView) -> Iterator[tuple[str, str, str, str]]:
    for moment in view.moments:
        number = "" if moment.number is None else str(moment.number)
        board = "" if moment.board_c is None else f"{moment.board_c:.0f} °C"
        yield number, display.clock(moment.at_s), board, moment.sentence


def _facts(view: RunView) -> Iterator[tuple[str, str]]:
    run, press = view.run, view.series.press_at()
    pressed_s = None if press is None else float(view.series.seconds[press])
    changes = [f"{count} {source_words(of)}" for of, count in sorted(view.work.touches.items())]
    yield "board", board_words(view)
    yield "heater", heater_words(view)
    yield "button on the device held", display.clock(pressed_s)
    yield "changes by a person", ", ".join(changes) or "none"
    yield "energy", display.energy(view.figures.energy_j)
    yield "time", f"{display.clock(view.figures.duration_s)} from arming until cool"
    yield "started, UTC", display.utc_time(run.started_utc)
    yield "ended, UTC", display.utc_time(run.ended_utc)
    yield from _sensors(view)
    yield "device", f"{run.device}, firmware {run.firmware_version} on {run.engine}"
    yield "emberbed on the PC", run.host_version
    yield "records", f"{run.ticks}, longest gap {view.figures.longest_gap_s:.1f} s"
    yield "record", "does not fit its fingerprint" if view.audit else "fits its fingerprint"
    yield "firmware fingerprint", run.firmware_digest
    yield "record fingerprint", run.head_sha256


def _sensors(view: RunView) -> Iterator[tuple[str, str]]:
    for channel, name in view.names.items():
        parts = [f"peak {display.celsius(view.figures.peaks_c.get(channel))}"]
        if view.plan is not None:
            parts.insert(0, words.role_words(view.plan.header[f"role{channel}"]))
            parts.append(limit_words(view, channel))
        yield f"sensor {name}", ", ".join(filter(None, parts))
