"""Every number a profile is judged by: value, unit, and why or from where.

RANGES    what a key of the profile file may hold at all; outside it the file is refused
TEXTS     longest texts, in characters
DEFAULT_  what a stage gets where the profile says nothing; common practice, no source
Limit     one rule of `check`: an error stops the run, a warning or a note lets a person decide
"""

import struct
from typing import Literal, NamedTuple

from emberbed_fw.plan import MARK_BITS, MAX_LONGEST_TICKS, STAGE_FIELDS
from emberbed_fw.safety_limits import (
    HANDLING_CDEG,
    HARD_CEILING_CDEG,
    LONGEST_COOL_TICKS,
    MOST_OFFSET_CDEG,
)
from emberbed_fw.settings import MAX_WATTS
from emberbed_fw.units import TICKS_PER_S, ZONES


class Range(NamedTuple):
    """Least and most that a key may hold, both allowed; `why_of` tells which one `why` is for."""

    least: float
    most: float
    unit: str
    why: str
    why_of: Literal["least", "most", "both"] = "most"


class Limit(NamedTuple):
    """One number of a rule."""

    value: float
    unit: str
    source: str


MOST_MARKS = 8 * struct.calcsize("<" + dict(STAGE_FIELDS)["marks"]) // MARK_BITS
MOST_STAGE_S = MAX_LONGEST_TICKS / TICKS_PER_S
HARD_CEILING_C = HARD_CEILING_CDEG / 100
HANDLING_C = HANDLING_CDEG / 100
_DAY = "a stage lasts at most a day"

RANGES = {
    "mass_g": Range(1, 5000, "g", "what a bench heater holds; our choice"),
    "length_mm": Range(5, 600, "mm", "what a bench heater holds; our choice"),
    "width_mm": Range(5, 600, "mm", "what a bench heater holds; our choice"),
    "thickness_mm": Range(0.3, 15, "mm", "what packages are made in; our choice"),
    "percent": Range(0, 100, "%", "of the heater's full power, 0 = its heat is off", "both"),
    "to_c": Range(25, HARD_CEILING_C, "°C", "no package is rated higher, J-STD-020 table 4-2"),
    "rate_c_per_s": Range(0.01, 3, "°C/s", "parts are rated for 3 °C/s, J-STD-020 table 5-2"),
    "for_s": Range(1, MOST_STAGE_S, "s", _DAY),
    "band_c": Range(0.5, 20, "°C", "a converter step is 0.25 °C; our choice", "least"),
    "hold_back_c": Range(1, 50, "°C", "the lag at which the clock waits; our choice", "both"),
    "longest_s": Range(1, MOST_STAGE_S, "s", _DAY),
    "start_within_s": Range(1, MOST_STAGE_S, "s", _DAY),
    "remind_s": Range(5, 600, "s", "a reminder nobody misses and all can bear; our choice", "both"),
    "below_c": Range(35, 100, "°C", "a warm room may never get colder; our choice", "least"),
    "fastest_c_per_s": Range(0.1, 6, "°C/s", "parts are rated for 6 °C/s, J-STD-020 table 5-2"),
    "spread_c": Range(0, 50, "°C", "0 asks for no evenness; our choice", "least"),
    "tool_w": Range(0, MAX_WATTS, "W", "what one socket gives, 0 = it has a socket of its own"),
    "limit_c": Range(40, HARD_CEILING_C, "°C", "no package is rated higher, J-STD-020 table 4-2"),
    "pause_c": Range(30, HARD_CEILING_C, "°C", "a warm room may be hotter; our choice", "least"),
    "zone": Range(0, ZONES - 1, "", "a heater's zones count from 0", "both"),
    "ceiling_c": Range(25, HARD_CEILING_C, "°C", "no package is rated higher, J-STD-020 table 4-2"),
}

MOST_ACCEPTED = 64  # a warning or two for each stage would be many

DIFFERENCES = ("band_c", "hold_back_c", "spread_c")  # their keys end as temperatures do

TEXTS = {"name": 80, "prompt": 120, "what": 120, "of": 16, "reason": 200}

DEFAULT_RAMP_BAND_C = 3.0
DEFAULT_HOLD_BAND_C = 5.0
DEFAULT_HOLD_BACK_C = 8.0
DEFAULT_RAMP_SPREAD_C = 10.0
DEFAULT_REMIND_S = 30.0
DEFAULT_HOT_AIR_S = 240.0
DEFAULT_START_WITHIN_S = 600.0
DEFAULT_HOT_AIR_PROMPT = "Bring the hot air over the chip, then answer"
PAUSE_BELOW_LIMIT_C = 8.0  # where a neighbour stops the ramp; a fast ramp is stopped sooner
MOST_OFFSET_C = MOST_OFFSET_CDEG / 100  # a person may shift the targets by this
LONGEST_FACTOR = 1.5  # of the planned time ...
LONGEST_SPARE_S = 120.0  # ... or this much more, whichever is longer
COOLING_ALLOWANCE_S = LONGEST_COOL_TICKS / TICKS_PER_S  # counted into the longest run
LIMIT_ABOVE_PEAK_C = 20.0  # a plan tightens every board sensor's limit to its peak and this

TG_MARGIN = Limit(10, "°C", "rework training rule of thumb: preheat stays about 10 °C below Tg")
SUPPORT_SOAK = Limit(150, "°C", "bench default for the support soak, common practice, no source")
SOLIDUS_MARGIN = Limit(
    10, "°C", "boards under rework differ by up to 10 °C across, a chip maker's BGA rework sheet"
)
RAMP_ADVISED = Limit(1.0, "°C/s", "0.6 to 1 °C/s from below is common practice, no source")
COOLING_ADVISED = Limit(2.0, "°C/s", "below 2 °C/s, a chip maker's BGA rework sheet")
HANDLING = Limit(HANDLING_C, "°C", "tools below 50 °C, common practice, no source")
FLUX_LOW = Limit(85, "°C", "common practice, no source")
FLUX_HIGH = Limit(90, "°C", "common practice, no source")
PACKAGE_LEAD_FREE = Limit(
    245, "°C", "lowest package rating for lead-free solder, J-STD-020 table 4-2"
)
PACKAGE_LEADED = Limit(220, "°C", "lowest package rating for tin-lead solder, J-STD-020 table 4-1")
HOT_AIR_ADVISED = Limit(DEFAULT_HOT_AIR_S, "s", "4 min of hot air, common practice, no source")
SOAK_LEAST = Limit(60, "s", "the device learns it from the mean of a minute")
NEIGHBOUR_ROOM = Limit(
    20, "°C", "cooler than the soak by more only where it is shielded, common practice, no source"
)
WAIT_ADVISED = Limit(1200, "s", "20 min hot without a hand on it, common practice, no source")
DRY_OUT_ABOVE = Limit(100, "°C", "common practice, no source")
DRY_OUT_LOW = Limit(80, "°C", "common practice, no source")
DRY_OUT_LEAST = Limit(60, "s", "common practice, no source")
STORED_HEAT = Limit(
    25, "°C", "simulated quartz and ceramic emitters switched off after full power, calculated"
)
CEILING_ROOM = Limit(5, "°C", "room for the overshoot of a controller; our choice")
AREAL_MASS_LOW = Limit(1.0, "kg/m²", "a bare 1.6 mm laminate weighs 2.96 kg/m², calculated")
AREAL_MASS_HIGH = Limit(40.0, "kg/m²", "a bare 1.6 mm laminate weighs 2.96 kg/m², calculated")


class Lasting(NamedTuple):
    """How many minutes one laminate lasts at a temperature."""

    minutes: float
    at_c: float
    source: str


# heat dose of the laminate: minutes at DOSE_AT_C that weigh as much
DOSE_AT_C = 260.0
DOSE_FROM_C = 150.0  # what is cooler weighs nothing: boards are baked for a day at 125 °C
DOSE_WHOLE = Lasting(50, DOSE_AT_C, "middle grade FR-4, internationalcircuits.com/materials")
DOSE_HALF = Lasting(23, 288.0, "middle grade FR-4, internationalcircuits.com/materials")
DOSE_SHARE = Limit(1 / 3, "of the laminate's time at 260 °C", "three passes, as J-STD-020 allows")
AIR_BOARD_C = Limit(235, "°C", "board and chip at the end of hot air, common practice, no source")

# energy estimate
BOARD_J_PER_KG_K = Limit(1100, "J/(kg K)", "FR-4 handbook figure, from memory")
BOARD_LOSS = Limit(4200, "W/m²", "bare board at 150 °C in 25 °C air, both faces, calculated")
LOSS_AT_C = 150.0
ROOM_C = 25.0
