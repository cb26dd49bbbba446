"""What hands did, in sentences: changes, answers, marks, beads that lift, a couple pulled out.

Each function takes the newest record and the run's progress, and gives (kind, sentence) events.
"""

from emberbed.bench.calls import ahead_text, sensor_down_text
from emberbed.bench.outcome import OUTCOMES
from emberbed.bench.progress import Progress
from emberbed.bench.stage_text import degrees, minutes
from emberbed.records import TickRecord
from emberbed.touch_words import mark_words, offset_words, source_words, touch_words
from emberbed_fw import messages, safety_limits
from emberbed_fw import run_states as rs
from emberbed_fw.trip_codes import WITHHELD_LIFTED

Event = tuple[str, str]
PROVED_ENDS = (rs.FINISHED, rs.STOPPED)  # whose cooling should have been seen to its end


def sentence(text: str) -> str:
    """Return `text` as a sentence of its own."""
    return f"{text[:1].upper()}{text[1:]}."


def touches(record: TickRecord, progress: Progress) -> list[Event]:
    """Return what a person changed, answered or marked in this tick, with its source."""
    told = []
    source = source_words(record.touch_source)
    if record.touch == messages.ANSWER:
        told.append(("answer", f"Answered, {source}."))
    elif record.touch not in (0, messages.MARK):
        told.append(("touch", sentence(f"{_change(record, progress)}, {source}")))
    if record.mark:
        told.append(("mark", f"Mark: {mark_words(record.mark)}, {source}."))
    return told


def _change(record: TickRecord, progress: Progress) -> str:
    if record.touch == messages.OFFSET:
        return offset_words(record.offset_cdeg)
    if record.touch == messages.EXTEND:
        return f"{minutes(progress.extra_ticks)} more for this stage"
    if record.touch == messages.HOLD_HERE:
        return f"{touch_words(record.touch)} at {degrees(record.asked_cdeg())}"
    return touch_words(record.touch)


def beads(
    before: TickRecord,
    record: TickRecord,
    progress: Progress,
    names: dict[int, str],
    was_lifted: int | None,
) -> list[Event]:
    """Return that a bead begins to lift, or lies on the board again."""
    lifted, lifts = before.withheld & WITHHELD_LIFTED, record.withheld & WITHHELD_LIFTED
    if lifts and not lifted:
        return [("lift", f"{sensor_down_text(progress, names)}. Heat is off until it is down.")]
    if lifted and not lifts and record.state in rs.HEATING_STATES:
        name = names.get(was_lifted, "") if was_lifted is not None else ""
        return [("lifted", f"{f'The sensor {name}' if name else 'The sensor'} is down again.")]
    return []


def ahead(progress: Progress, prompts: list[str]) -> list[Event]:
    """Return the call half a minute before a stage that needs the person."""
    text = ahead_text(progress, prompts)
    return [("ahead", f"{text}.")] if text else []


def air_ends(progress: Progress) -> list[Event]:
    """Return the call half a minute before hot air has been on for as long as it may."""
    left = progress.air_left_ticks()
    if left is None or not progress.air_ends_soon():
        return []
    return [("ahead", f"Hot air: {minutes(left)} left of its longest time.")]


def cooling_not_proven(
    before: TickRecord, record: TickRecord, progress: Progress, names: dict[int, str]
) -> list[Event]:
    """Return that a run has ended without every bead seen cool: one was pulled out, perhaps."""
    if record.state == before.state or record.state not in OUTCOMES:
        return []
    if record.state not in PROVED_ENDS:
        return []
    unproven = []
    for channel in progress.board_channels():
        reading = record.channel_cdeg(channel)
        if reading is None or reading >= safety_limits.HANDLING_CDEG:
            unproven.append(f"{names.get(channel, f'channel{channel}')} {degrees(reading)}")
    if not unproven:
        return []
    return [("unproven", f"Cooling not proven: {', '.join(unproven)}. Look first, touch later.")]
