"""The rows of the catalogue that act on the heater: what happens on the board, at the thermocouples
and their converters, and between mains and emitters.

Amounts are whole numbers. Signs: a reading that is too low is the dangerous one, as it lets the
board grow hotter than shown; what is usual for a row is meant so.
"""

from emberbed_sim.plant.fault_kind import (
    A_CHANNEL,
    A_ZONE,
    AND_CHANNEL,
    AND_ZONE,
    CHANNEL,
    ON_HEATER,
    ZONE,
    FaultKind,
)

HOT_AIR_C = 380  # a usual setting of hand tools for lead-free work; common practice, no source
NOZZLE_C = range(100, 501)


def _channel(name: str, does: str, lasts_s: float | None = None) -> FaultKind:
    return _heater(name, does, CHANNEL, A_CHANNEL, part="channel", lasts_s=lasts_s)


def _zone(name: str, does: str) -> FaultKind:
    return _heater(name, does, ZONE, A_ZONE, part="zone")


def _heater(name: str, does: str, *amount: object, **more: object) -> FaultKind:
    return FaultKind(name, ON_HEATER, does, *amount, **more)  # type: ignore[arg-type]


ON_THE_BOARD = (
    _heater("hot_air", "hot air from above blows on the chip",
            f"degC of the air, {HOT_AIR_C} if not given", NOZZLE_C, HOT_AIR_C),
    _heater("hot_air_wanders",
            "hot air from above drifts on and off the chip, at times over the sensor beside it",
            f"degC of the air, {HOT_AIR_C} if not given", NOZZLE_C, HOT_AIR_C),
    _heater("cold_chip", "a chip at room temperature is placed on the pads", at_once=True),
    _heater("board_changed", "a board at room temperature is put in place of the one there",
            at_once=True),
    _heater("draught", "an extractor draws air over the board's upper face",
            "W/m2K, 10 if not given", range(1, 101), 10),
    _heater("hot_bench", "emitters and surroundings are hot from the last board",
            "degC of the emitters, 250 if not given", range(30, 601), 250, at_once=True),
)  # fmt: skip

AT_THE_BEADS = (
    _channel("bead_touched", "tweezers touch a bead, for 3 s if no length is given",
             lasts_s=3.0),
    _channel("finger", "a warm finger lies on a bead, for 10 s if no length is given",
             lasts_s=10.0),
    _channel("tape_creep", "a bead's tape lets go slowly, over ten minutes"),
    _channel("bead_lifted", "a bead lifts off the board, its converter sees nothing"),
    _heater("bead_half_off", "a bead touches the board less well than it should",
            "% of its contact that is left, 30 if not given" + AND_CHANNEL, range(1, 100), 30,
            part="channel"),
    _channel("bead_grounded", "a bead touches grounded metal and its converter says so"),
)  # fmt: skip

IN_THE_COUPLE = (
    _channel("tc_open", "a thermocouple breaks and its converter says so"),
    _channel("tc_to_supply",
             "a thermocouple's lead touches a supply voltage and its converter says so"),
    _channel("tc_grounded_unseen",
             "a thermocouple's input is pulled to ground, its converter does not say so and reads"
             " its own cold junction"),
    _channel("tc_shorted",
             "the two wires of a lead touch: the converter reads the air there, not the bead"),
    _channel("tc_reversed",
             "a thermocouple's wires are swapped: it reads colder as it gets hotter"),
    _heater("tc_wrong_type",
            "a thermocouple of another type, or a wrong gain: less voltage for the same"
            " temperature, or more",
            "% of the right voltage, 70 (type N for K) if not given" + AND_CHANNEL,
            range(10, 201), 70, part="channel"),
    _heater("tc_drifts", "a reading moves away from the truth",
            "thousandths of a degree a second, -50 if not given" + AND_CHANNEL,
            range(-2000, 2001), -50, part="channel"),
)  # fmt: skip

IN_THE_CONVERTER = (
    _heater("cold_junction_wrong",
            "a converter chip grows warmer than its terminals, over some minutes: its cold junction"
            " and its reading are too high (below 0: too low)",
            "degrees, 10 if not given" + AND_CHANNEL, range(-60, 101), 10, part="channel"),
    _channel("reading_sticks",
             "a converter gives the same word again and again, as if it were new"),
    _channel("reading_stale",
             "a converter finishes no conversion any more: its last word stands, and nothing says"
             " that it is new"),
    _heater("interference",
            "now and then a single reading is far off, up or down",
            "degrees, 200 if not given" + AND_CHANNEL, range(1, 1001), 200, part="channel"),
    _heater("bus_dead", "no converter answers on the bus any more",
            "0 all bits are 0 (if not given), 1 all bits are 1, 2 all are 0 and the bus reports an"
            " error", range(3), 0),
    _heater("channels_swapped", "a channel and the one after it change places",
            "channel, the first if not given; the last changes with the first", A_CHANNEL,
            part="channel"),
)  # fmt: skip

IN_THE_SWITCHES = (
    _zone("ssr_stuck_on", "an SSR conducts whatever its drive says"),
    _zone("ssr_stuck_off", "an SSR never conducts"),
    _zone("ssr_half_wave", "an SSR conducts in one half of the mains cycle: half the power"),
    _heater("ssr_leaks", "an SSR lets some power through while it is off",
            "% of full power, 3 if not given" + AND_ZONE, range(1, 51), 3, part="zone"),
    _heater("contactor_welded", "the contactor's contacts stay closed"),
    _heater("contactor_stuck_open", "the contactor never closes"),
    _heater("mirror_dead", "the mirror contact always says that the contactor is open"),
    _heater("mirror_stuck", "the mirror contact always says that the contactor is closed"),
    _heater("current_sense_dead", "the current sense never sees current"),
    _heater("current_sense_stuck", "the current sense always sees current"),
)  # fmt: skip

IN_THE_MAINS = (
    _heater("emitter_open", "emitters are burnt out or unplugged",
            "% of the power that is left, 0 if not given" + AND_ZONE, range(100), 0, part="zone"),
    _heater("mains_off_nominal", "the mains voltage sags or swells",
            "% of the nominal voltage, 90 if not given", range(50, 131), 90),
    _heater("mains_lost",
            "no mains for the emitters, the contactor's coil and the fan; the device goes on,"
            " fed by the computer"),
    _heater("fan_stuck_off", "the fan stands still"),
    _heater("fan_stuck_on", "the fan turns whatever its drive says"),
    _heater("tach_dead", "the fan's tach never says that it turns"),
)  # fmt: skip

HEATER_ROWS = (
    *IN_THE_COUPLE, *IN_THE_SWITCHES, *ON_THE_BOARD, *AT_THE_BEADS, *IN_THE_CONVERTER,
    *IN_THE_MAINS,
)  # fmt: skip
