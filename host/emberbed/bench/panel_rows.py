"""What the live panel says of one record, row by row: pure, from record and story to rich texts.

Our inner words stay inside: everything here is for a person with a hot board in front of them.
"""

from rich.text import Text

from emberbed import words
from emberbed.bench.outcome import OUTCOMES
from emberbed.bench.stage_text import degrees, left_text, nothing_heated, stage_text
from emberbed.bench.story import PRESS_TEXT, Story, prompt_text
from emberbed.records import TickRecord
from emberbed.trip_titles import UNPLUG, UNPLUG_TRIPS, trip_title
from emberbed_fw import record as layout
from emberbed_fw import run_states as rs
from emberbed_fw.safety_limits import HANDLING_CDEG
from emberbed_fw.trip_codes import NO_TRIP, WITHHELD_STATE
from emberbed_fw.units import FULL_POWER_Q15, NONE

BARE_HANDS_CDEG = 4300  # ISO 13732-1 table 1, any material for 8 h or more; from memory
BAR_CELLS = 20
CALL = "bold black on yellow"
ALARM = "bold white on red"
NOBODY = "for nobody"
LOOK = "look at the run's page"
RELEASE_TEXT = "Let go of the button on the device, then hold it for a second"


def rows_of(record: TickRecord, story: Story, control: int) -> list[tuple[str, Text]]:
    """Return (label, text) of every row; `control` is the channel that controls the heat."""
    return [
        ("Board", _board(record, story, control)),
        ("Now", _now(record, story)),
        ("Waiting", Text(_waiting(record))),
        ("Next", _next(record, story)),
        ("Heater", _heater(record)),
        ("Touch", touch_text(record, list(story.names))),
    ]


def unplug_trip(record: TickRecord) -> int:
    """Return the trip after which only the mains plug is sure to end the heat, 0 for none."""
    return next((c for c in (record.trip, record.second_trip) if c in UNPLUG_TRIPS), NO_TRIP)


def call_of(record: TickRecord, story: Story) -> Text | None:
    """Return what the person has to do now, None for nothing."""
    if record.prompt != NONE:
        return Text(f"  {prompt_text(record.prompt, story.prompts)}  ", style=CALL)
    if record.waits_for == rs.WAITS_RELEASE and record.port_flags & layout.PORT_BUTTON:
        return Text(f"  {RELEASE_TEXT}  ", style=CALL)
    if record.waits_for in (rs.WAITS_PRESS, rs.WAITS_RELEASE):
        return Text(f"  {PRESS_TEXT}  ", style=CALL)
    return None


def keys_of(record: TickRecord, virtual: bool, stops: int) -> str:
    """Return which keys do something now; `stops` is how often Ctrl-C was pressed."""
    if record.state in OUTCOMES:
        return ""
    keys = ["Ctrl-C twice: leave, heat stays off"]  # first: a narrow terminal cuts the end
    if stops:
        keys = ["Ctrl-C: leave, heat stays off"]
    elif record.verdict == rs.NO_VERDICT:
        keys = ["Ctrl-C: heat off"]
    if record.prompt != NONE:
        keys.append("Enter: done")
    if virtual and record.state == rs.COLD_PROOF:
        keys.append("B: hold the virtual device's button")
    return "   ".join(keys)


def touch_text(record: TickRecord, channels: list[int]) -> Text:
    """Say whether the board may be touched; `channels` are the fitted ones."""
    readings = [record.channel_cdeg(channel) for channel in channels]
    known = [reading for reading in readings if reading is not None]
    if unplug_trip(record):
        return Text("no: pull the mains plug first", style="bold red")
    if record.state == rs.WAIT:
        return Text("tools only, for what is asked: it is hot", style="yellow")
    if record.state in rs.HEATING_STATES:
        return Text("no: it heats", style="bold red")
    if len(known) < len(readings) or not known:
        return Text("no: not every sensor reads", style="bold red")
    if max(known) >= HANDLING_CDEG:
        return Text(f"no: wait until it is below {HANDLING_CDEG / 100:g} °C", style="bold red")
    if record.state == rs.COOL and not nothing_heated(record):
        return Text("not yet: heat from the heater may still arrive", style="yellow")
    if max(known) >= BARE_HANDS_CDEG:
        return Text("tools only; the heater below stays hot longer", style="yellow")
    return Text("yes; the heater below may be hotter", style="green")


def _board(record: TickRecord, story: Story, control: int) -> Text:
    text = Text()
    text.append(degrees(record.channel_cdeg(control)), style="bold")
    asked = record.asked_cdeg()
    if asked is not None:
        text.append(f"   asked for {degrees(asked)}")
    for channel, name in story.names.items():
        if channel != control:
            text.append(f"   {name} {degrees(record.channel_cdeg(channel))}", style="dim")
    return text


def _now(record: TickRecord, story: Story) -> Text:
    if nothing_heated(record):
        return Text(words.NOTHING_HEATED)
    if record.waits_for == rs.WAITS_PRESS:
        return Text(words.READY)
    if record.stage == NONE:
        return Text(words.state_words(record.state))
    number = f"stage {record.stage + 1} of {len(story.plan.stages)}"
    left = left_text(story.plan, record)
    doing = stage_text(story.plan, record.stage)
    return Text(f"{number}: {doing}" + (f"   {left}" if left else ""))


def _waiting(record: TickRecord) -> str:
    if record.state in OUTCOMES or nothing_heated(record):
        return NOBODY
    return words.wait_words(record.waits_for).removeprefix("waits ") or NOBODY


def _next(record: TickRecord, story: Story) -> Text:
    if unplug_trip(record):
        return Text(UNPLUG, style=ALARM)
    if record.state in OUTCOMES or nothing_heated(record):
        return Text(LOOK)
    if record.verdict != rs.NO_VERDICT:
        return Text("touch it when cool, then see the run's page")
    following = 0 if record.stage == NONE else record.stage + 1
    if following >= len(story.plan.stages):
        return Text("end of the run")
    return Text(stage_text(story.plan, following, story.prompts))


def _stuck(record: TickRecord) -> str:
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


def _heater(record: TickRecord) -> Text:
    stuck = _stuck(record)
    if stuck:
        return Text(stuck, style="bold red")
    share = record.demand0_q15 / FULL_POWER_Q15
    text = Text(f"{100 * share:3.0f} % ")
    text.append(f"{'■' * round(share * BAR_CELLS):·<{BAR_CELLS}}", style="yellow")
    text.append(f"   {record.energy_j / 3600:.0f} Wh so far", style="dim")
    if record.outputs & layout.OUT_FAN:
        text.append("   fan on")
    held_off = words.withheld_words(record.withheld & ~WITHHELD_STATE)
    if held_off and record.state in rs.HEATING_STATES:
        text.append(f"   held off: {held_off[0]}", style="bold")
    return text
