"""What the live panel says of one record, row by row: pure, from the story so far to rich texts.

Our inner words stay inside: everything here is for a person with a hot board in front of them.
"""

from rich.text import Text

from emberbed import words
from emberbed.bench import going_on
from emberbed.bench.calls import most_text
from emberbed.bench.outcome import OUTCOMES
from emberbed.bench.stage_text import degrees, doing_text, nothing_heated, stage_text
from emberbed.bench.story import Story
from emberbed.bench.touch_answer import touch_text, unplug_trip
from emberbed.records import TickRecord
from emberbed.touch_words import mark_words, offset_words
from emberbed.trip_titles import UNPLUG, trip_title
from emberbed_fw import messages
from emberbed_fw import record as layout
from emberbed_fw import run_states as rs
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.trip_codes import WITHHELD_STATE
from emberbed_fw.units import FULL_POWER_Q15, NONE

BAR_CELLS = 20
ALARM = "bold white on red"
NOBODY = "for nobody"
LOOK = "look at the run's page"


def rows_of(record: TickRecord, story: Story) -> list[tuple[str, Text]]:
    """Return (label, text) of every row; `record` is the one that the story followed last."""
    return [
        ("Board", _board(record, story)),
        ("Now", now_text(record, story)),
        ("Waiting", Text(waiting_text(record, story))),
        ("Next", next_text(record, story)),
        ("Heater", _heater(record, story)),
        ("Guard", _guard(record)),
        ("Marks", _marks(story)),
        ("Touch", _touch(record, story)),
    ]


def _touch(record: TickRecord, story: Story) -> Text:
    progress = story.progress
    works = record.state == rs.WAIT or progress.air_on()
    return touch_text(record, progress.board_channels(), progress.emitter_channels(), works)


def _board(record: TickRecord, story: Story) -> Text:
    control = story.plan.header["control0"]
    text = Text()
    text.append(degrees(record.channel_cdeg(control)), style="bold")
    asked = record.asked_cdeg()
    if asked is not None:
        text.append(f"   asked for {degrees(asked)}")
    if record.offset_cdeg:
        text.append(f" ({offset_words(record.offset_cdeg)})", style="bold")
    for channel in story.progress.board_channels():
        if channel != control:
            name = story.names.get(channel, f"channel{channel}")
            text.append(f"   {name} {degrees(record.channel_cdeg(channel))}", style="dim")
    return text


def now_text(record: TickRecord, story: Story) -> Text:
    if nothing_heated(record):
        return Text(words.NOTHING_HEATED)
    if record.waits_for == rs.WAITS_PRESS:
        return Text(f"{words.READY}; {most_text(story.progress)}")
    if record.stage == NONE:
        return Text(words.state_words(record.state))
    return Text(
        f"stage {record.stage + 1} of {len(story.plan.stages)}: {doing_text(story.progress)}"
    )


def waiting_text(record: TickRecord, story: Story) -> str:
    if record.state in OUTCOMES or nothing_heated(record):
        return NOBODY
    what = words.wait_words(record.waits_for).removeprefix("waits ") or NOBODY
    why = _why_waiting(record, story)
    return f"{what}: {why}" if why else what


def _why_waiting(record: TickRecord, story: Story) -> str:
    """Return which sensors the run waits for, '' where that is plain."""
    readings = {
        story.names.get(channel, f"channel{channel}"): cdeg
        for channel in story.progress.board_channels()
        if (cdeg := record.channel_cdeg(channel)) is not None
    }
    if record.waits_for == rs.WAITS_SPREAD and readings:
        hot, cold = max(readings, key=readings.__getitem__), min(readings, key=readings.__getitem__)
        return f"{hot} {degrees(readings[hot])}, {cold} {degrees(readings[cold])}"
    if record.waits_for == rs.WAITS_NEIGHBOUR:
        return ", ".join(_near_limit(record, story))
    return ""


def _near_limit(record: TickRecord, story: Story) -> list[str]:
    """Return the neighbours that are at or above the temperature where the run pauses."""
    told = []
    for channel in story.progress.board_channels():
        pause = story.plan.header[f"pause{channel}_cdeg"]
        reading = record.channel_cdeg(channel)
        if pause and reading is not None and reading >= pause:
            limit = degrees(story.plan.header[f"limit{channel}_cdeg"], 0)
            told.append(f"{story.names.get(channel)} {degrees(reading)}, its limit {limit}")
    return told


def next_text(record: TickRecord, story: Story) -> Text:
    if unplug_trip(record):
        return Text(UNPLUG, style=ALARM)
    if record.state in OUTCOMES or nothing_heated(record):
        return Text(LOOK)
    if record.prompt == GO_ON_PROMPT:
        return Text("a new run that goes on with this one, or the end of the cooling")
    if record.verdict != rs.NO_VERDICT:
        return Text("touch it when cool, then see the run's page")
    following = going_on.place_of(story.progress)[0] if record.stage == NONE else record.stage + 1
    if following >= len(story.plan.stages):
        return Text("end of the run")
    return Text(stage_text(story.plan, following, story.prompts))


def _guard(record: TickRecord) -> Text:
    """Tell every warning of the device in one line."""
    told = ", ".join(title for title, _sentence in words.warning_words(record.warnings))
    return Text(told, style="bold") if told else Text("nothing to tell", style="dim")


def _marks(story: Story) -> Text:
    """Tell the marks that were set, the newest last, and the one that is expected."""
    progress = story.progress
    told = [f"{mark_words(mark)} {story.clock(tick).strip()}" for tick, mark in progress.marks]
    text = Text("   ".join(told[-3:]))
    expected = progress.next_mark()
    if progress.staged() and expected != messages.MARK_NOTE:
        text.append(f"{'   ' if told else ''}next: {mark_words(expected)}", style="dim")
    return text if text.plain else Text("none", style="dim")


def stuck_text(record: TickRecord) -> str:
    """Return what makes a heater that is told to be off unsafe, '' for nothing."""
    trip = unplug_trip(record)
    # the current sense tells of the tick before: a drive that has just ended is no stuck switch
    settled = record.state not in rs.HEATING_STATES
    if record.state == rs.COOL:
        settled = record.stage_elapsed > 1
    flows = record.port_flags & layout.PORT_HEAT_CURRENT and not record.driven_zones
    if flows and (trip or settled):
        return "told off, but current flows"
    return f"no current now, but not safe: {trip_title(trip)}" if trip else ""


def _heater(record: TickRecord, story: Story) -> Text:
    stuck = stuck_text(record)
    if stuck:
        return Text(stuck, style="bold red")
    share = record.demand0_q15 / FULL_POWER_Q15
    text = Text(f"{100 * share:3.0f} % ")
    text.append(f"{'■' * round(share * BAR_CELLS):·<{BAR_CELLS}}", style="yellow")
    text.append(f"   {record.energy_j / 3600:.0f} Wh so far", style="dim")
    for channel in story.progress.emitter_channels():
        text.append(f"   {degrees(record.channel_cdeg(channel), 0)}", style="dim")
    if record.outputs & layout.OUT_FAN:
        text.append("   fan on")
    held_off = words.withheld_words(record.withheld & ~WITHHELD_STATE)
    if held_off and record.state in rs.HEATING_STATES:
        text.append(f"   held off: {held_off[0]}", style="bold")
    return text
