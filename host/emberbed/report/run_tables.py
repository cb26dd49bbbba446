"""The tables of the run page: stages, figures, sensors, and what happened when.

Each takes the collected run and gives markup; what was stored is escaped by `markup`.
"""

import numpy as np

from emberbed import words
from emberbed.profiles.compile import Plan
from emberbed.report import display
from emberbed.report.deeds import Moment
from emberbed.report.markup import Markup, facts, table, tag
from emberbed.report.run_view import RunView, prompt_of
from emberbed.report.summary import StageFigures
from emberbed.report.wanted import HEADS, wanted_rows
from emberbed.report.work_words import work_pairs


def measured(view: RunView) -> Markup:
    rows = wanted_rows(view)
    if not rows:
        return tag("p", "No sensor gave a figure.")
    return table(list(HEADS), [list(row) for row in rows], numbers_from=len(HEADS))


def stages(view: RunView) -> Markup:
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
                _taken(view, stage),
                display.clock(stage.in_band_s if stage.taken_s else None),
                display.celsius(view.work.hold_spreads_c.get(stage.number - 1)),
            ]
        )
    heads = ["stage", "to", "planned", "taken", "time in band", "largest spread"]
    return table(heads, rows)


def _taken(view: RunView, stage: StageFigures) -> str:
    if not stage.taken_s:
        return "not reached"
    cut = stage.cut_short and view.run.state not in ("open", "finished")
    return display.clock(stage.taken_s) + (", cut short" if cut else "")


def _rate_at(view: RunView, c_per_s: float | None, channel: int | None) -> str:
    """Return a rate with the sensor that saw it; a dash alone where none did."""
    if channel is None:
        return display.NOTHING
    return f"{display.rate(c_per_s)} at {view.names.get(channel, f'channel {channel}')}"


def figures(view: RunView) -> Markup:
    figures = view.figures
    ramp = _rate_at(view, figures.largest_ramp_c_per_s, figures.ramp_channel)
    cooling = _rate_at(view, figures.largest_cooling_c_per_s, figures.cooling_channel)
    pairs: list[tuple[str, object]] = [
        ("largest ramp", ramp),
        ("largest cooling rate", cooling),
        *work_pairs(view),
        ("limits exceeded", str(len(figures.limits_exceeded))),
        ("energy", display.energy(figures.energy_j)),
        ("records", f"{view.run.ticks}, {display.clock(figures.duration_s)} in all"),
        ("longest gap", f"{figures.longest_gap_s:.1f} s" if figures.longest_gap_s else "none"),
    ]
    return facts(pairs)


def sensors(view: RunView) -> Markup:
    rows: list[list[object]] = []
    for channel, name in view.names.items():
        role = limit = display.NOTHING
        if view.plan is not None:
            role = words.role_words(view.plan.header[f"role{channel}"])
            limit = _limits(view.plan, channel)
        converter = view.device.channels[channel].converter if view.device else display.NOTHING
        peak = display.celsius(view.figures.peaks_c.get(channel))
        rows.append([name, role, converter, limit, peak, _lost_readings(view, channel)])
    heads = ["sensor", "what for", "converter", "limit", "peak", "ticks without reading"]
    return table(heads, rows, numbers_from=3)


def _limits(plan: Plan, channel: int) -> str:
    """Return a sensor's limit, and the wider one that holds once hot air has been on."""
    before, after = (
        display.celsius(plan.header[f"{limit}{channel}_cdeg"] / 100)
        for limit in ("limit", "air_limit")
    )
    if not plan.header[f"limit{channel}_cdeg"]:
        return display.NOTHING
    return before if before == after else f"{before}, with hot air {after}"


def _lost_readings(view: RunView, channel: int) -> str:
    return str(int(np.isnan(view.series.channels_c[channel]).sum()))


def events(view: RunView) -> Markup:
    if not view.moments:
        return tag("p", "No events were stored.")
    with_chip = any(moment.chip_c is not None for moment in view.moments)
    heads = ["", "time", "since the press", "board", *(["chip"] if with_chip else [])]
    rows = [_event_row(moment, with_chip) for moment in view.moments]
    return table([*heads, "what happened"], rows, numbers_from=len(heads) + 1, class_="events")


def _event_row(moment: Moment, with_chip: bool) -> list[object]:
    number = "" if moment.number is None else moment.number
    times = [display.clock(moment.at_s), display.clock(moment.since_press_s)]
    chip = [display.celsius(moment.chip_c)] if with_chip else []
    return [number, *times, display.celsius(moment.board_c), *chip, moment.sentence]
