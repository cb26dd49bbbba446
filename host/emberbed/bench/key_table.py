"""Every key of the terminal that changes a run: what it asks for, and what it is good for now.

One row a key. `hint` is what the key would do now, '' where it would do nothing; `wish` is what is
asked for when it is pressed all the same: the device decides, and says no in a sentence.
"""

from collections.abc import Callable
from typing import NamedTuple

from emberbed.bench.progress import Progress
from emberbed.bench.wishes import Answer, Stop, Touch, Wish
from emberbed.touch_words import mark_words
from emberbed_fw import messages
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.doubts import TOUCHING_PROMPT
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.safety_limits import MOST_OFFSET_CDEG
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.units import NONE, TICKS_PER_MIN

BUTTON_HINT = "B holds the virtual device's button, A is its hot air"
KEYS_HINT = (
    "Enter answers, M marks, H holds here, C twice cools down, S means smoke, Ctrl-C takes the heat"
    " away."
)
ANSWER_KEYS = "\n "
COOL_KEY = "c"  # asked for twice
BUTTON_KEY = "b"  # the virtual device's
AIR_KEY = "a"  # the virtual bench's hot air
OFFSET_STEP_CDEG = 100
_UNSTEERED = (layout.POWER,)  # open loop: nothing to hold, nothing to move
_UNHURRIED = (layout.RAMP, layout.POWER)  # take the time they take
ANSWERS = {
    GO_ON_PROMPT: "go on",
    LONGER_PROMPT: "wait longer",
    AIR_AWAY_PROMPT: "air is away",
    TOUCHING_PROMPT: "it touches",
}


class Key(NamedTuple):
    """One key, lower case."""

    key: str
    hint: Callable[[Progress], str]
    wish: Callable[[Progress], Wish]


def answer_hint(progress: Progress) -> str:
    """Return what Enter does now."""
    record = progress.newest
    if record is None:
        return ""
    if record.prompt != NONE:
        return ANSWERS.get(record.prompt, "done")
    return "go on" if progress.held else ""


def answer_wish(progress: Progress) -> Wish | None:
    """Return what Enter asks for now, None for nothing."""
    record = progress.newest
    if record is not None and record.prompt != NONE:
        return Answer(record.prompt)
    return Touch(messages.GO_ON) if progress.held else None


def _steered(progress: Progress) -> bool:
    """Tell whether a stage runs whose temperature a person may hold or move."""
    return progress.staged() and progress.kind() not in _UNSTEERED


def _mark_hint(progress: Progress) -> str:
    record = progress.newest
    cools = record is not None and record.state == rs.COOL and record.stage != NONE
    if not progress.staged() and not cools:
        return ""
    expected = progress.next_mark()
    if expected == messages.MARK_NOTE:
        return "" if cools else "mark"
    return f"mark '{mark_words(expected)}'"


def _hold_hint(progress: Progress) -> str:
    if progress.held:
        return "go on"
    asks = progress.newest is not None and progress.newest.state == rs.WAIT
    return "hold here" if _steered(progress) and not progress.air_on() and not asks else ""


def _more_hint(progress: Progress) -> str:
    return "1 min more" if progress.staged() and progress.kind() not in _UNHURRIED else ""


def _back_hint(progress: Progress) -> str:
    back = _steered(progress) and not progress.air_on() and progress.has_plateau()
    return "last plateau" if back else ""


def _offset(progress: Progress, step_cdeg: int) -> int:
    return (progress.newest.offset_cdeg if progress.newest else 0) + step_cdeg


def _offset_hint(progress: Progress, step_cdeg: int) -> str:
    wanted = _offset(progress, step_cdeg)
    if not _steered(progress) or abs(wanted) > MOST_OFFSET_CDEG:
        return ""
    return f"target {step_cdeg / 100:+.0f} °C" if progress.offset_fits(wanted) else ""


def _heats(progress: Progress) -> bool:
    return progress.newest is not None and progress.newest.state in rs.HEATING_STATES


KEYS = (
    Key("m", _mark_hint, lambda _: Touch(messages.MARK, messages.MARK_NEXT)),
    Key("h", _hold_hint,
        lambda progress: Touch(messages.GO_ON if progress.held else messages.HOLD_HERE)),
    Key("e", _more_hint, lambda _: Touch(messages.EXTEND, TICKS_PER_MIN)),
    Key("n", lambda progress: "next stage" if progress.staged() else "",
        lambda _: Touch(messages.NEXT_STAGE)),
    Key("l", _back_hint, lambda _: Touch(messages.LAST_PLATEAU)),
    Key("+", lambda progress: _offset_hint(progress, OFFSET_STEP_CDEG),
        lambda progress: Touch(messages.OFFSET, _offset(progress, OFFSET_STEP_CDEG))),
    Key("-", lambda progress: _offset_hint(progress, -OFFSET_STEP_CDEG),
        lambda progress: Touch(messages.OFFSET, _offset(progress, -OFFSET_STEP_CDEG))),
    Key(COOL_KEY, lambda progress: "cool down" if progress.staged() else "",
        lambda _: Touch(messages.COOL_DOWN)),
    Key("f", lambda progress: "fan now" if progress.waits_for_fan() else "",
        lambda _: Touch(messages.FAN_NOW)),
    Key("s", lambda progress: "smoke, heat off" if _heats(progress) else "",
        lambda _: Stop(messages.STOP_SMOKE)),
)  # fmt: skip
BY_KEY = {row.key: row for row in KEYS}


def hints(progress: Progress, *, cool_asked: bool = False) -> list[str]:
    """Return the keys that do something now, as 'H: hold here'.

    `cool_asked`: C was pressed once and waits for the second time.
    """
    does = {row.key: hint for row in KEYS if (hint := row.hint(progress))}
    if cool_asked and COOL_KEY in does:
        does[COOL_KEY] = "again: cool down now"
    told = [f"{key.upper()}: {hint}" for key, hint in does.items()]
    up, down = (f"{key}: {does.get(key)}" for key in "+-")
    if up in told and down in told:  # one for both: there is little room
        told[told.index(up)] = f"+ -: target by {OFFSET_STEP_CDEG / 100:g} °C"
        told.remove(down)
    return told
