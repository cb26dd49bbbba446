"""May the board be touched: leave it, tools, or bare hands; and the heater, which is hotter, apart.

The answer is that of the hottest sensor on the board. Pure: from a record to a `TouchAnswer`, which
the page shows as it is and the terminal as a rich text.
"""

from typing import NamedTuple

from rich.text import Text

from emberbed.bench.stage_text import nothing_heated
from emberbed.records import TickRecord
from emberbed.trip_titles import UNPLUG_TRIPS
from emberbed_fw import run_states as rs
from emberbed_fw.safety_limits import HANDLING_CDEG
from emberbed_fw.trip_codes import NO_TRIP

BARE_HANDS_CDEG = 4300  # ISO 13732-1 table 1, any material for 8 h or more; from memory
LEAVE, TOOLS, HANDS = "leave", "tools", "hands"
STYLES = {LEAVE: "bold red", TOOLS: "yellow", HANDS: "green"}
HEATER_HOT = "heater still hot"
HEATER_UNKNOWN = "the heater may be hot"


class TouchAnswer(NamedTuple):
    """`level` is LEAVE, TOOLS or HANDS, `heater` what to know of the heater besides, or ''."""

    level: str
    board: str
    heater: str


def unplug_trip(record: TickRecord) -> int:
    """Return the trip after which only the mains plug is sure to end the heat, 0 for none."""
    return next((c for c in (record.trip, record.second_trip) if c in UNPLUG_TRIPS), NO_TRIP)


def touch_text(
    record: TickRecord, board: list[int], emitters: list[int], works: bool = False
) -> Text:
    """Say the same as a rich text."""
    answer = touch_answer(record, board, emitters, works)
    text = Text(answer.board, style=STYLES[answer.level])
    if answer.heater:
        text.append(f"   {answer.heater}", style="dim")
    return text


def touch_answer(
    record: TickRecord, board: list[int], emitters: list[int], works: bool = False
) -> TouchAnswer:
    """Say whether the board may be touched.

    `board` are the channels whose beads lie on it, `emitters` those on the heater; `works`: the
    person is at work on the board with tools, as the run asks.
    """
    off = record.state not in rs.HEATING_STATES and not unplug_trip(record)
    heater = _of_heater(record, board, emitters) if off else ""
    return TouchAnswer(*_of_board(record, board, works), heater)


def _of_board(record: TickRecord, board: list[int], works: bool) -> tuple[str, str]:
    readings = [record.channel_cdeg(channel) for channel in board]
    known = [reading for reading in readings if reading is not None]
    if unplug_trip(record):
        return LEAVE, "leave it: pull the mains plug first"
    if works:
        return TOOLS, "tools only, for what is asked: it is hot"
    if record.state in rs.HEATING_STATES:
        return LEAVE, "leave it: it heats"
    if len(known) < len(readings) or not known:
        return LEAVE, "leave it: not every sensor reads"
    if max(known) >= HANDLING_CDEG:
        return LEAVE, f"leave it until it is below {HANDLING_CDEG / 100:g} °C"
    if record.state == rs.COOL and not nothing_heated(record):
        return TOOLS, "leave it: heat from the heater may still arrive"
    if max(known) >= BARE_HANDS_CDEG:
        return TOOLS, f"tools; bare hands below {BARE_HANDS_CDEG / 100:g} °C"
    return HANDS, "bare hands"


def _of_heater(record: TickRecord, board: list[int], emitters: list[int]) -> str:
    """Say how the heater is: by its own sensor, else by what it has done to the board."""
    on_heater = [record.channel_cdeg(channel) for channel in emitters]
    known = [cdeg for cdeg in on_heater if cdeg is not None]
    if known:
        return HEATER_HOT if max(known) >= BARE_HANDS_CDEG else ""
    heated = any((record.channel_cdeg(channel) or 0) >= HANDLING_CDEG for channel in board)
    return HEATER_HOT if record.energy_j or heated else HEATER_UNKNOWN
