"""What people did in a run, in sentences: changes, answers, marks, with their source and what the
board and the chip had at that moment.

Takes a run as columns and the events that were stored with it. The record is what counts: a deed
of which no event tells gets a row of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from emberbed.profiles.compile import Plan
from emberbed.report.deed_kinds import CHANGES, DEED_KINDS
from emberbed.report.series import Deed, RunSeries
from emberbed.report.summary import control_channel
from emberbed.store.runs import RunEvent
from emberbed.touch_words import mark_words, offset_words, source_words, touch_words
from emberbed_fw import messages
from emberbed_fw.plan import ROLE_CHIP_TOP
from emberbed_fw.units import CHANNELS


@dataclass(frozen=True)
class Moment:
    """One row of the table of events; `number` is the stored event's, None where there is none."""

    number: int | None
    tick: int | None
    at_s: float | None  # since the first record
    since_press_s: float | None
    board_c: float | None
    chip_c: float | None
    sentence: str
    deed: Deed | None = None


def chip_top_channel(series: RunSeries, plan: Plan | None) -> int | None:
    """Return the first channel on top of a chip that ever had a reading, None for none."""
    if plan is None:
        return None
    tops = [c for c in range(CHANNELS) if plan.header[f"role{c}"] == ROLE_CHIP_TOP]
    return next((c for c in tops if (series.channels_c[c] == series.channels_c[c]).any()), None)


def deed_sentence(deed: Deed, offset_c: float) -> str:
    """Return what a person did, with its source; `offset_c` stood in that tick."""
    parts = []
    if deed.touch == messages.OFFSET:
        parts.append(offset_words(round(offset_c * 100)))
    elif deed.touch not in (0, messages.MARK):
        parts.append(touch_words(deed.touch))
    if deed.mark:
        parts.append(f"marked: {mark_words(deed.mark)}")
    told = ", ".join([*parts, source_words(deed.source)])
    return f"{told[:1].upper()}{told[1:]}."


def moments_of(series: RunSeries, plan: Plan | None, events: Sequence[RunEvent]) -> list[Moment]:
    """Return the stored events and what people did, in order."""
    scene = _Scene.of(series, plan)
    deeds = {int(series.tick[deed.at]): deed for deed in series.deeds}
    said: dict[int, str] = {}  # by tick, what the stored events say of a person
    for event in events:
        if event.kind in DEED_KINDS and event.tick is not None:
            said[event.tick] = f"{said.get(event.tick, '')} {event.sentence}"
    rows: list[tuple[int, Moment]] = []
    newest = -1  # an event without a tick stays behind those stored before it
    for event in events:
        newest = max(newest, -1 if event.tick is None else event.tick)
        sentence, deed = event.sentence, None
        if event.kind in DEED_KINDS and event.tick in deeds:
            deed = deeds.pop(event.tick)
            sentence = _completed(sentence, deed, said[event.tick])
        rows.append((newest, scene.moment(event.number, event.tick, sentence, deed)))
    for tick, deed in deeds.items():  # those that no event tells of
        sentence = deed_sentence(deed, float(series.offset_c[deed.at]))
        rows.append((tick, scene.moment(None, tick, sentence, deed)))
    return [moment for _tick, moment in sorted(rows, key=lambda row: row[0])]


def _completed(sentence: str, deed: Deed, said: str) -> str:
    """Return a stored sentence with what all of its tick leave out: the mark, the source."""
    mark = mark_words(deed.mark) if deed.mark else ""
    missing = [f"marked: {mark}"] if mark not in said else []
    if source_words(deed.source) not in said:
        missing.append(source_words(deed.source))
    return f"{sentence.rstrip('.')} ({', '.join(missing)})." if missing else sentence


@dataclass(frozen=True)
class _Scene:
    """The run that moments are looked up in."""

    series: RunSeries
    pressed_s: float | None
    board: int | None
    chip: int | None

    @staticmethod
    def of(series: RunSeries, plan: Plan | None) -> "_Scene":
        press = series.press_at()
        pressed_s = None if press is None else float(series.seconds[press])
        board, chip = control_channel(series, plan), chip_top_channel(series, plan)
        return _Scene(series, pressed_s, board, chip)

    def moment(self, number: int | None, tick: int | None, sentence: str, deed: Deed | None):
        at_s = None if tick is None else self.series.seconds_inside(tick)
        since_s = None if at_s is None or self.pressed_s is None else at_s - self.pressed_s
        board_c, chip_c = (self._reading(channel, tick) for channel in (self.board, self.chip))
        return Moment(number, tick, at_s, since_s, board_c, chip_c, sentence, deed)

    def _reading(self, channel: int | None, tick: int | None) -> float | None:
        if channel is None or tick is None:
            return None
        return self.series.reading_at(channel, tick)


def touches_by_source(series: RunSeries) -> dict[int, int]:
    """Return how many changes came from each source."""
    counts: dict[int, int] = {}
    for deed in series.deeds:
        if deed.touch in CHANGES:
            counts[deed.source] = counts.get(deed.source, 0) + 1
    return counts
