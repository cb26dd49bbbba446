"""What the person is asked to do now, one sentence: questions, the press, hot air, a lifting bead.

`prompt_text` knows a question by its number alone, for events; `call_of` knows the whole moment,
for the panel with the keys that answer, for the page without (`keyed`). Pure.
"""

from typing import NamedTuple

from emberbed.bench.progress import Progress
from emberbed.bench.stage_text import degrees, left_text, minutes
from emberbed.records import TickRecord
from emberbed_fw import record as record_layout
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.doubts import TOUCHING_PROMPT
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.units import NONE, TICKS_PER_S

LONGER_TEXT = "This stage takes longer than planned. Answer to give it more time"
TOUCHING_TEXT = "The sensor does not rise: does it touch the board? Answer when it does"
AIR_AWAY_TEXT = "Hot air is on. Answer when it is away"
PRESS_TEXT = "Hold the button on the device for a second to start heating"
RELEASE_TEXT = "Let go of the button on the device, then hold it for a second"
FAN_TEXT = "once the solder is solid: the fan waits for you"
FAN_KEY, FAN_CONTROL = "F", "Fan"
KEYS = "{keys}"  # the place in a question for the keys that answer it
SENSOR_DOWN_TEXT = "Press the sensor down"

# What is mended when the device asks whether to go on.
_MENDED = {
    trip_codes.PC_LINK_LOST: "The PC link is back",
    trip_codes.PROMPT_OVERDUE: "The run waits for you",
    trip_codes.STAGE_OVERDUE: "The run waits for you",
    trip_codes.SENSOR_LIFTED: "Press the sensor down",
    trip_codes.NO_RISE: "Press the sensor down",
    trip_codes.HEAT_NOT_ARRIVING: "Press the sensor down",
    trip_codes.SENSORS_DISAGREE: "Press both sensors down",
}
_SENSOR_MENDED = "Sensor reads again"


class Call(NamedTuple):
    """`urgent`: something is wrong until it is done; otherwise `needed`: it waits for a person."""

    text: str
    urgent: bool = False
    needed: bool = True


def prompt_text(prompt: int, prompts: list[str]) -> str:
    """Return what prompt number `prompt` asks."""
    own = {
        LONGER_PROMPT: LONGER_TEXT,
        AIR_AWAY_PROMPT: AIR_AWAY_TEXT,
        TOUCHING_PROMPT: TOUCHING_TEXT,
    }
    if prompt in own:
        return own[prompt]
    return prompts[prompt] if prompt < len(prompts) else "Answer when you are ready"


def most_text(progress: Progress) -> str:
    """Return the ceiling that is shown at the press."""
    most = degrees(progress.plan.header["most_setpoint_cdeg"], 0)
    return f"never above {most}, whatever is changed"


def go_on_text(progress: Progress) -> str:
    """Return the question after a trip that a person has mended."""
    record = progress.newest
    assert record is not None
    board = degrees(record.channel_cdeg(progress.plan.header["control0"]), 0)
    stage = 0 if progress.left_stage == NONE else progress.left_stage
    cause = trip_codes.PC_LINK_LOST if record.verdict == rs.LINK_LOST else record.trip
    return f"{_MENDED.get(cause, _SENSOR_MENDED)}. Go on from {board} with stage {stage + 1}?"


def sensor_down_text(progress: Progress, names: dict[int, str]) -> str:
    """Return the call for the hand when a bead seems to lift."""
    name = names.get(progress.lifted, "") if progress.lifted is not None else ""
    return f"{SENSOR_DOWN_TEXT}: {name}" if name else SENSOR_DOWN_TEXT


def ahead_text(progress: Progress, prompts: list[str]) -> str:
    """Return what the person will be needed for, '' while that is far."""
    left = progress.ticks_to_person()
    if left is None or progress.newest is None:
        return ""
    prompt = progress.plan.stages[progress.newest.stage + 1]["prompt"]
    return f"In {-(-left // TICKS_PER_S)} s you are needed: {prompt_text(prompt, prompts)}"


def call_of(
    progress: Progress, prompts: list[str], names: dict[int, str], *, keyed: bool = True
) -> Call | None:
    """Return what the person has to do now, None for nothing; `keyed` with the terminal's keys."""
    record = progress.newest
    if record is None:
        return None
    if record.withheld & trip_codes.WITHHELD_LIFTED and record.state in rs.HEATING_STATES:
        return Call(sensor_down_text(progress, names), urgent=True)
    if record.prompt != NONE:
        question, keys = _question(progress, record, prompts)
        return Call(question.format(keys=keys if keyed else ""))
    at_button = button_text(record)
    if at_button:
        return Call(at_button)
    if progress.waits_for_fan():
        return Call(f"{FAN_KEY if keyed else FAN_CONTROL} {FAN_TEXT}")
    ahead = ahead_text(progress, prompts)
    return Call(ahead, needed=False) if ahead else None


def button_text(record: TickRecord) -> str:
    """Return what to do at the device's button, '' for nothing.

    A press is asked for once it would count, not in the tenths of a second before.
    """
    if record.waits_for == rs.WAITS_PRESS:
        return PRESS_TEXT
    held_down = record.port_flags & record_layout.PORT_BUTTON
    return RELEASE_TEXT if record.waits_for == rs.WAITS_RELEASE and held_down else ""


def _question(progress: Progress, record: TickRecord, prompts: list[str]) -> tuple[str, str]:
    """Return the question of the moment, and what the terminal puts in for {keys}."""
    if record.prompt == GO_ON_PROMPT:
        return f"{go_on_text(progress)}{KEYS}", " Enter, then hold the button"
    if record.prompt == AIR_AWAY_PROMPT:
        return f"Hot air is on{KEYS}: {left_text(progress)}", ", Enter when it is away"
    if record.prompt == TOUCHING_PROMPT:
        return f"Press the sensor down: it does not rise{KEYS}", ", Enter when it touches"
    if record.prompt != LONGER_PROMPT:
        asked = prompt_text(record.prompt, prompts)
        return asked.replace("{", "{{").replace("}", "}}"), ""
    if progress.held:
        held = degrees(record.asked_cdeg(), 0)
        return f"Held at {held} for long{KEYS}", ": H go on, Enter hold longer, C cool"
    if progress.air_on():
        on = minutes(record.stage_tick)
        return f"Hot air has been on for {on}{KEYS}", ": M air is away, Enter more time, C cool"
    return f"{_stuck_text(progress, record)}{KEYS}", ": N next stage, Enter wait, C cool"


def _stuck_text(progress: Progress, record: TickRecord) -> str:
    row = progress.stage_row()
    assert row is not None
    board = record.channel_cdeg(progress.plan.header["control0"])
    wanted = degrees(row["target_cdeg"] + record.offset_cdeg, 0)
    return f"Stuck at {'no reading' if board is None else f'{board / 100:.0f}'} of {wanted}"
