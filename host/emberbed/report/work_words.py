"""The figures of the work as named facts: time above liquidus, hot air, evenness, changes.

What a run had nothing of is left out.
"""

from collections.abc import Iterator

from emberbed import words
from emberbed.report import display
from emberbed.report.run_view import RunView
from emberbed.report.work_figures import WorkFigures
from emberbed.touch_words import source_words
from emberbed_fw.plan import ROLE_CHIP_TOP, ROLE_CONTROL

NOT_THE_JOINT = "the sensor is not the joint"


def work_pairs(view: RunView) -> Iterator[tuple[str, object]]:
    """Yield (name, what it came to)."""
    work = view.work
    if work.above_liquidus_s is not None:
        yield "time above liquidus", _above(view)
    if work.moves_to_away_s:
        told = ", ".join(display.clock(seconds) for seconds in work.moves_to_away_s)
        yield "solder moves to air away", told
    if work.hot_air:
        yield "time in hot air", _spells(work.hot_air_s, len(work.hot_air))
    if work.held:
        yield "held by a person", _spells(work.held_s, len(work.held))
    if work.spread_c is not None:
        at = display.clock(work.spread_at_s)
        yield "largest spread", f"{display.celsius(work.spread_c)} at {at}, while heating"
    yield "changes by a person", _touches(work)
    if work.marks:
        yield "marks", str(work.marks)


def _above(view: RunView) -> str:
    """Return the time above liquidus with the sensor that saw it."""
    work = view.work
    assert work.liquidus_c is not None and work.chip_channel is not None
    name = view.names.get(work.chip_channel, f"channel {work.chip_channel}")
    role = words.role_words(ROLE_CHIP_TOP if work.chip_on_top else ROLE_CONTROL)
    seen = f"at {name} ({role}); {NOT_THE_JOINT}"
    if work.above_liquidus_s:
        return f"{display.clock(work.above_liquidus_s)} above {work.liquidus_c:g} °C {seen}"
    peak = display.celsius(view.figures.peaks_c.get(work.chip_channel))
    return f"none: peak {peak} of {work.liquidus_c:g} °C {seen}"


def _spells(seconds: float, count: int) -> str:
    times = "" if count == 1 else f" in {count} times"
    return f"{display.clock(seconds)}{times}"


def _touches(work: WorkFigures) -> str:
    told = [f"{count} {source_words(source)}" for source, count in sorted(work.touches.items())]
    return ", ".join(told) or "none"
