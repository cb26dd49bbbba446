"""May the board be touched: leave it, tools, or bare hands; and the heater, which is hotter, apart.

The answer is that of the hottest sensor on the board. Pure: from a record to a rich text.
"""

from rich.text import Text

from emberbed.bench.stage_text import nothing_heated
from emberbed.records import TickRecord
from emberbed.trip_titles import UNPLUG_TRIPS
from emberbed_fw import run_states as rs
from emberbed_fw.safety_limits import HANDLING_CDEG
from emberbed_fw.trip_codes import NO_TRIP

BARE_HANDS_CDEG = 4300  # ISO 13732-1 table 1, any material for 8 h or more; from memory
LEAVE = "bold red"
TOOLS = "yellow"
HANDS = "green"
HEATER_HOT = "   heater still hot"
HEATER_UNKNOWN = "   the heater may be hot"


def unplug_trip(record: TickRecord) -> int:
    """Return the trip after which only the mains plug is sure to end the heat, 0 for none."""
    return next((c for c in (record.trip, record.second_trip) if c in UNPLUG_TRIPS), NO_TRIP)


def touch_text(
    record: TickRecord, board: list[int], emitters: list[int], works: bool = False
) -> Text:
    """Say whether the board may be touched.

    `board` are the channels whose beads lie on it, `emitters` those on the heater; `works`: the
    person is at work on the board with tools, as the run asks.
    """
    text = _of_board(record, board, works)
    if record.state not in rs.HEATING_STATES and not unplug_trip(record):
        text.append(_of_heater(record, board, emitters), style="dim")
    return text


def _of_board(record: TickRecord, board: list[int], works: bool) -> Text:
    readings = [record.channel_cdeg(channel) for channel in board]
    known = [reading for reading in readings if reading is not None]
    if unplug_trip(record):
        return Text("leave it: pull the mains plug first", style=LEAVE)
    if works:
        return Text("tools only, for what is asked: it is hot", style=TOOLS)
    if record.state in rs.HEATING_STATES:
        return Text("leave it: it heats", style=LEAVE)
    if len(known) < len(readings) or not known:
        return Text("leave it: not every sensor reads", style=LEAVE)
    if max(known) >= HANDLING_CDEG:
        return Text(f"leave it until it is below {HANDLING_CDEG / 100:g} °C", style=LEAVE)
    if record.state == rs.COOL and not nothing_heated(record):
        return Text("leave it: heat from the heater may still arrive", style=TOOLS)
    if max(known) >= BARE_HANDS_CDEG:
        return Text(f"tools; bare hands below {BARE_HANDS_CDEG / 100:g} °C", style=TOOLS)
    return Text("bare hands", style=HANDS)


def _of_heater(record: TickRecord, board: list[int], emitters: list[int]) -> str:
    """Say how the heater is: by its own sensor, else by what it has done to the board."""
    on_heater = [record.channel_cdeg(channel) for channel in emitters]
    known = [cdeg for cdeg in on_heater if cdeg is not None]
    if known:
        return HEATER_HOT if max(known) >= BARE_HANDS_CDEG else ""
    heated = any((record.channel_cdeg(channel) or 0) >= HANDLING_CDEG for channel in board)
    return HEATER_HOT if record.energy_j or heated else HEATER_UNKNOWN
