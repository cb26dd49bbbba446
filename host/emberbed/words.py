"""Every sentence about states, verdicts, waits, trips and withheld heat.

Takes codes of the firmware's tables and states of the run store, gives plain English; the only
place for that, and our inner words stay inside. An unknown code gets a sentence too: a newer device
must not silence an older host. Keyed by the firmware's names; a test asserts that none is missing.
"""

from emberbed.trip_sentences import TRIPS, TripWords
from emberbed_fw import plan, run_states, trip_codes

HOT = "Board and heater stay hot for a while: look first, touch later."

STATES = {
    "BOOT": "starting up",
    "IDLE": "ready, nothing loaded",
    "LOADED": "loaded, not armed",
    "COLD_PROOF": "checking sensors and switches, no heat yet",
    "HOT_PROOF": "checking the heater with short pulses",
    "RUN": "heating by the profile",
    "WAIT": "holding the temperature for you",
    "COOL": "cooling down, heat is off",
    "FINISHED": "finished",
    "STOPPED": "stopped by a person",
    "LINK_LOST": "ended, the PC link was lost",
    "TRIPPED": "tripped, heat stays off",
    "SERVICE": "in service, no run possible",
}

READY = "ready, no heat yet"  # COLD_PROOF once everything is proved

# The verdict of a run as the run store keeps it.
VERDICTS = {
    "open": "Not ended yet: the run is still being recorded.",
    "finished": "Finished: every stage ran to its end.",
    "stopped": "Stopped: a person ended the run before it was through.",
    "tripped": "Tripped: the device switched heat off by itself.",
    "link_lost": "PC link lost: the device switched heat off because nobody answered for it.",
    "refused": "Refused: the device did not start the run, nothing was heated.",
    "interrupted": "Interrupted: the record breaks off, how the run went on is not known.",
}

NOTHING_HEATED = "Stopped before heating: nothing was heated."

WAITS = {
    "WAITS_NOTHING": "",
    "WAITS_SENSORS": "waits for every sensor to read well for a second",
    "WAITS_RELEASE": "waits for the button to be let go",
    "WAITS_PRESS": "waits for the button to be held for a second",
    "WAITS_BOARD": "waits for the board to catch up",
    "WAITS_BAND": "waits for the board to come back into its band",
    "WAITS_OPERATOR": "waits for you to say that it is done",
    "WAITS_ANSWER": "asks whether to go on: this stage takes longer than it may",
    "WAITS_COOLING": "waits for the board to cool",
    "WAITS_HELD": "waits because you hold it here",
    "WAITS_AIR_AWAY": "waits for the hot air to be taken away",
    "WAITS_NEIGHBOUR": "waits for a neighbour to stay off its own limit",
    "WAITS_SPREAD": "waits for the board to become even",
    "WAITS_SENSOR_DOWN": "waits for a sensor to be pressed down",
    "WAITS_EXPLANATION": "waits for the board to do what the heat should make it do",
    "WAITS_COLD_SENSOR": "waits for every sensor to read about room temperature, as a rested"
    " bench does",
    "WAITS_STOP_RELEASE": "waits for the stop switch to be released",
}

WITHHELD = {
    "WITHHELD_STATE": "this part of the run does not heat",
    "WITHHELD_SENSOR": "a sensor is in doubt",
    "WITHHELD_LEASE": "nobody answers for the heat",
    "WITHHELD_TRIP": "the run has tripped",
    "WITHHELD_LATE": "the controller was late",
    "WITHHELD_OVER_TEMPERATURE": "a sensor is above its limit",
    "WITHHELD_SWITCH": "the second switch is not seen closed",
    "WITHHELD_LIFTED": "a sensor seems to lift off the board",
    "WITHHELD_COMING": "heat still on its way would bring a sensor to its limit",
    "WITHHELD_ASKS": "the sensor may not touch the board",
    "WITHHELD_DISTURBED": "readings move as no board can",
    "WITHHELD_APART": "two sensors side by side disagree",
    "WITHHELD_MACHINE": "the controller doubts its own memory",
    "WITHHELD_SURPLUS": "the board gets more heat than was sent",
}

# What a person should know although nothing trips for it: in a few words, and in a sentence.
WARNINGS = {
    "WARN_NOT_IDENTIFIED": (
        "heater not identified",
        "This heater has not been identified: the guard only asks and slows down.",
    ),
    "WARN_SECOND_SWITCH": (
        "second switch not proved",
        "The second switch is commanded, not proved.",
    ),
    "WARN_FAN": ("fan", "The fan does not do what it is told."),
    "WARN_SURPLUS": (
        "more heat than sent",
        "The board gets more heat than was sent: is hot air on, or is a switch stuck on?",
    ),
    "WARN_MISSING": (
        "less heat than sent",
        "The board gets less heat than was sent: does the sensor touch, does every emitter glow?",
    ),
}


STAGE_KINDS = {
    "RAMP": "ramp",
    "HOLD": "hold",
    "WAIT": "wait",
    "HOT_AIR": "hot air",
    "COOL": "cool",
    "POWER": "fixed power",
}

ROLES = {
    "absent": "not used",
    "control": "controls the heat",
    "edge": "board edge",
    "chip_top": "top of the chip",
    "neighbour": "neighbour to be spared",
    "emitter": "heater itself",
    "pair": "checks its partner",
}


def _by_code(module: object, table: dict[str, str]) -> dict[int, str]:
    return {getattr(module, name): words for name, words in table.items()}


_TRIP_NAMES = {code: name for code, name, _reaction in trip_codes.TRIPS}
_WAITS_BY_CODE = _by_code(run_states, WAITS)
_WAIT_NAMES = {getattr(run_states, name): name.removeprefix("WAITS_") for name in WAITS}
_WITHHELD_BY_BIT = _by_code(trip_codes, WITHHELD)
_WARNINGS_BY_BIT = {getattr(trip_codes, name): told for name, told in WARNINGS.items()}
_NO_WARNINGS = trip_codes.NOTE_RESTED  # bits of the same field


def unknown_code(what: str, code: int) -> str:
    """Return the words for a code that is in no table of ours."""
    return f"{what} {code}, which this emberbed does not know; update it"


def name_at(names: tuple[str, ...], code: int) -> str | None:
    """Return the name that stands at `code`, None for none."""
    return names[code] if 0 <= code < len(names) else None


def state_words(state: int) -> str:
    """Return what the device is doing in state number `state`."""
    name = name_at(run_states.STATE_NAMES, state)
    return STATES[name] if name else unknown_code("in a state with the number", state)


def verdict_words(
    state: str, limits_exceeded: int | None = None, energy_j: int | None = None
) -> str:
    """Return the verdict of a run in the store's state `state`; 'finished' never stands alone."""
    words = VERDICTS.get(state, f"Ended as {state}, a verdict which this emberbed does not know.")
    if state == "stopped" and energy_j == 0:
        return NOTHING_HEATED
    if state != "finished":
        return words
    if limits_exceeded is None:
        return f"{words} Whether limits were exceeded was not counted."
    plural = "" if limits_exceeded == 1 else "s"
    return f"{words} {limits_exceeded or 'No'} limit{plural} exceeded."


def wait_words(waits_for: int) -> str:
    """Return what the run waits for, '' for nothing."""
    return _WAITS_BY_CODE.get(
        waits_for, unknown_code("waits for something with the number", waits_for)
    )


def wait_name(waits_for: int) -> str:
    """Return a name of what the run waits for, for tables and files, '' for nothing."""
    if waits_for == run_states.WAITS_NOTHING:
        return ""
    return _WAIT_NAMES.get(waits_for, str(waits_for))


def trip_name(code: int) -> str:
    """Return the name of a trip for tables and files, '' for none."""
    return "" if code == trip_codes.NO_TRIP else _TRIP_NAMES.get(code, f"TRIP_{code}")


def trip_words(code: int, sensor: str | None = None) -> TripWords:
    """Return what happened and what to do; `sensor` is the name of the sensor that caused it."""
    if code not in _TRIP_NAMES:
        return TripWords(
            f"{unknown_code('The device switched heat off for a reason with the number', code)}.",
            "Leave the heater off until you know the reason.",
        )
    happened, mend = TRIPS[_TRIP_NAMES[code]]
    named = f"the sensor {sensor}" if sensor else "a sensor"
    return TripWords(happened.replace("{sensor}", named), mend)


def withheld_words(bits: int) -> list[str]:
    """Return every reason for which a tick had no permission to heat."""
    known = [words for bit, words in _WITHHELD_BY_BIT.items() if bits & bit]
    rest = bits & ~sum(_WITHHELD_BY_BIT)
    return known + ([unknown_code("for a reason with the number", rest)] if rest else [])


def warning_words(bits: int) -> list[tuple[str, str]]:
    """Return (in a few words, in a sentence) of every warning in `bits`."""
    known = [told for bit, told in _WARNINGS_BY_BIT.items() if bits & bit]
    rest = bits & ~sum(_WARNINGS_BY_BIT) & ~_NO_WARNINGS
    if rest:
        unknown = unknown_code("warning number", rest)
        known.append((unknown, f"{unknown[:1].upper()}{unknown[1:]}."))
    return known


def stage_words(kind: int) -> str:
    """Return the trade's word for a stage kind."""
    name = name_at(plan.KIND_NAMES, kind)
    return STAGE_KINDS[name] if name else f"kind {kind}"


def role_words(role: int) -> str:
    """Return what a sensor is there for."""
    name = name_at(plan.ROLE_NAMES, role)
    return ROLES[name] if name else f"role {role}"
