"""Step 8: the pins, with a lamp as load and no heater, in the order in which trust is built."""

from collections.abc import Callable
from dataclasses import dataclass

from emberbed.acceptance.report import FAILED, LAMP, NOT_DONE, NOT_FITTED, PASSED, StepResult
from emberbed.bench.touch_test import GROUND_TICKS, judge_touch
from emberbed.link.device import Refused
from emberbed.link.transport import LinkError
from emberbed_fw import record, trip_codes
from emberbed_fw import run_states as rs
from emberbed_fw.safety_limits import COLD_START_CDEG, CONTACTOR_TICKS
from emberbed_fw.settings import HAS_CONTACTOR_SENSE, HAS_FAN, HAS_HEAT_SENSE, Settings
from emberbed_fw.units import TICK_MS, TICKS_PER_S
from emberbed_hil.accept import Say, line
from emberbed_hil.bench import Failed
from emberbed_hil.evidence import must_act_ms
from emberbed_hil.live import PERSON_S, Live
from emberbed_hil.person import Person, Skipped
from emberbed_hil.plans import sensors_of
from emberbed_hil.step import MS, Found, fits_any

LOOK_TICKS = 20
TOUCH_S = 10.0
MOST_LOOKS = 3  # of TOUCH_S: records may still be on their way when the finger is there
LIT_TICKS = 30
PINS = ("ports/", "drivers/", "converters.py", "settings.py")
BEFORE = (
    "Before this part: the heater is NOT connected. A lamp of 25 to 60 W (or a low-voltage one with"
    " its own supply) hangs in its place behind relay and contactor. If that lamp needs mains, a"
    " person who is competent, and allowed to do it where the bench stands, has wired it."
)


@dataclass(frozen=True)
class LiveStep:
    number: str
    title: str
    act: Callable[[Live], Found]
    checks: tuple[str, ...] = ()
    modules: tuple[str, ...] = PINS
    fits: Callable[[Settings], str] = fits_any


def _load(live: Live) -> Found:
    if not live.confirm("Is the heater disconnected, a lamp in its place, and dark?"):
        raise Failed("the lamp is not there, or not dark: nothing else is tried")
    return Found("heater disconnected, lamp in its place, dark")


def _room(live: Live) -> Found:
    """Every converter gives a sane reading of a bench at rest."""
    live.watch(LOOK_TICKS)
    worst = 0
    for channel, name in live.names.items():
        fault = live.newest.fault(channel)
        cdeg = live.newest.channel_cdeg(channel)
        if fault or cdeg is None:
            title = trip_codes.TRIPS[fault - 1][1] if fault else "no reading"
            raise Failed(
                f"channel {channel} ({name}) answers nonsense ({title}): check its converter's"
                " wiring and its kind in the description"
            )
        if channel in _couples(live):
            worst = max(worst, abs(cdeg - getattr(live.newest, f"cold{channel}_cdeg")))
    return Found("sensors against their converters", worst / 100, COLD_START_CDEG / 100, "°C")


def _couples(live: Live) -> list[int]:
    sensors = sensors_of(live.settings)
    return [*sensors.board, *sensors.emitters]


def _beads(live: Live) -> Found:
    """A finger on each bead in turn: the channel that warms must be the one that is named so."""
    names = live.names
    for channel in sensors_of(live.settings).board:
        seen = live.watch(GROUND_TICKS)  # before the finger: nobody knows how soon it is there
        live.do("finger", channel, f"Lay a finger on the bead of {names[channel]}.")
        for _look in range(MOST_LOOKS):
            seen = [*seen, *live.watch(round(TOUCH_S * TICKS_PER_S))]
            touched = judge_touch(seen, _couples(live))
            if touched.channel is not None:
                break
        if touched.channel is None:
            raise Failed(touched.sentence(names))
        if touched.channel != channel:
            raise Failed(
                f"channels {channel} ({names[channel]}) and {touched.channel}"
                f" ({names[touched.channel]}) are swapped: change the plugs, or the description"
            )
        _let_cool(live)
    return Found("each bead is where its name says")


def _let_cool(live: Live) -> None:
    live.person.tell("Take the finger away.")
    live.watch(round(TOUCH_S * TICKS_PER_S))


def _button(live: Live) -> Found:
    live.forget()
    live.do("tap", 0, "Press the device's button shortly.")
    down = _pressed
    live.until(down, PERSON_S, "a press of the button")
    live.until(lambda told: not down(told), PERSON_S, "its release")
    if not live.is_dark:
        raise Failed("a press alone closed a switch")
    return Found("pressed and released, nothing switched")


def _pressed(told) -> bool:
    return told.port_flags & record.PORT_BUTTON != 0


def _start(live: Live) -> Found:
    """Armed, the lamp stays dark; after the press it flashes once, then lights."""
    live.arm()
    live.watch(LOOK_TICKS)
    if not live.is_dark:
        raise Failed("a switch closed before anybody had pressed")
    live.device.stop()
    live.stop()
    live.start()
    closed = _senses(live)
    _ask(live, "Was the lamp dark until the press, and did it flash once about a second after it?",
         "the lamp was not dark until the press, or did not flash")  # fmt: skip
    if closed is None:
        return Found("no mirror contact: the second switch is commanded, not proved")
    return Found(
        "mirror contact after the contactor", closed * TICK_MS, CONTACTOR_TICKS * TICK_MS, MS
    )


def _senses(live: Live) -> int | None:
    """Return the ticks from contactor command to mirror contact; Failed where no current flowed."""
    told = live.seen
    if live.settings.has_input(HAS_HEAT_SENSE):
        pulsed = [one for one in told if one.state == rs.HOT_PROOF]
        if not any(one.port_flags & record.PORT_HEAT_CURRENT for one in pulsed):
            raise Failed("the current sense saw nothing of the first pulse: check sense and lamp")
    if not live.settings.has_input(HAS_CONTACTOR_SENSE):
        return None
    drives = [at for at, one in enumerate(told) if one.outputs & record.OUT_CONTACTOR]
    closes = [at for at, one in enumerate(told) if one.port_flags & record.PORT_CONTACTOR_CLOSED]
    if not drives or not closes:
        raise Failed("the mirror contact was never seen closed")
    return closes[0] - drives[0]


def _lit(live: Live) -> Found:
    live.until(lambda told: told.driven_zones != 0, PERSON_S, "heat")
    _ask(live, "Does the lamp light now, fully or in short bursts?", "the lamp does not light")
    return Found("the lamp lights while the device drives it")


def _stop(live: Live) -> Found:
    _lit_again(live)
    live.device.stop()
    live.watch(2)
    dark = next((one for one in live.seen if one.state == rs.COOL), None)
    if dark is None:
        raise Failed("STOP was not obeyed")
    if dark.driven_zones or dark.outputs & record.OUT_CONTACTOR:
        raise Failed("STOP left a switch closed")
    _ask(live, "Is the lamp dark?", "the lamp still lights after STOP: pull its plug")
    took_ms = (dark.tick - live.stop_heard + 1) * TICK_MS
    return Found("dark after STOP", took_ms, must_act_ms("C13"), MS)


def _lit_again(live: Live) -> None:
    """Have the lamp driven, from a start of its own where it is not."""
    if live.newest.state != rs.RUN:
        live.stop()
        live.start()
    live.until(lambda told: told.driven_zones != 0, PERSON_S, "heat")
    live.forget()


def _unplugged(live: Live) -> Found:
    _lit_again(live)
    channel = sensors_of(live.settings).control
    live.do("unplug", channel, f"Pull the thermocouple {live.names[channel]} out now.")
    live.until(lambda told: told.trip != 0, PERSON_S, "a trip")
    showed = next(one.tick for one in live.seen if one.fault(channel))
    tripped = next(one.tick for one in live.seen if one.trip)
    _ask(live, "Is the lamp dark?", "the lamp still lights without its sensor: pull its plug")
    return Found("tripped after the sensor was pulled", (tripped - showed + 1) * TICK_MS,
                 must_act_ms("C01"), MS)  # fmt: skip


def _cable(live: Live) -> Found:
    _lit_again(live)
    live.do("cable", 0, "Pull the cable to the computer now, and look at the lamp.")
    live.leave(live.person.away_s)
    _ask(live, "Did the lamp go dark within about two seconds?", "the lamp went on without its PC")
    live.person.tell("Plug the cable in again.")
    live.come_back()
    live.watch(LOOK_TICKS)
    if live.newest.state in rs.HEATING_STATES or not live.is_dark:
        raise Failed("the device went on heating without its PC")
    return Found("dark without its PC, and no heat when it came back")


def _reset(live: Live) -> Found:
    _lit_again(live)
    live.do("reset", 0, "Press the board's reset button now, and look at the lamp.")
    live.leave(1.0)
    _ask(live, "Did the lamp go dark at once, and stay dark?", "the lamp lights after a reset")
    live.come_back()
    live.watch(LOOK_TICKS)
    if not live.is_dark or live.newest.state != rs.IDLE:
        raise Failed("after a reset the device knows of a run, or drives a switch")
    return Found("dark through the reset, and nothing went on")


def _own_stop(live: Live) -> Found:
    _lit_again(live)
    live.do("stop switch", 0, "Press the latching stop at the bench.")
    _ask(live, "Is the lamp dark?", "the stop at the bench does not break the contactor's coil")
    if live.settings.has_input(HAS_CONTACTOR_SENSE):
        live.until(lambda told: told.trip != 0, PERSON_S, "a trip by the mirror contact")
    return Found("the stop at the bench takes the contactor away without the device")


def _signals(live: Live) -> Found:
    if not live.confirm("Did the buzzer sound at the trip, loud enough over a hot-air tool?"):
        raise Failed("the buzzer is not heard")
    return Found("heard")


def _fan(live: Live) -> Found:
    live.do("fan", 0, "Warm a bead above 50 °C, start, and stop again.")
    _ask(live, "Does the fan turn in the cooling?", "the fan does not turn")
    return Found("turns")


def _ask(live: Live, asked: str, otherwise: str) -> None:
    """Ask what the eye sees; where nobody can see, what was measured stands alone."""
    if live.person.sees and not live.confirm(asked):
        raise Failed(otherwise)


def _needs(has: int, what: str) -> Callable[[Settings], str]:
    return lambda settings: "" if settings.has_input(has) else f"no {what} fitted"


STEPS = (
    LiveStep("8.01", "Lamp in the heater's place", _load),
    LiveStep("8.02", "Every sensor reads the room", _room, ("C33",)),
    LiveStep("8.03", "Every bead is where its name says", _beads),
    LiveStep("8.04", "The button", _button, ("C12",)),
    LiveStep("8.05", "Dark until the press; both switches prove themselves", _start, ("C12",)),
    LiveStep("8.06", "The lamp lights", _lit),
    LiveStep("8.07", "STOP from the computer", _stop, ("C13",)),
    LiveStep("8.08", "A thermocouple pulled out", _unplugged, ("C01",)),
    LiveStep("8.09", "The cable pulled out", _cable, ("C06",)),
    LiveStep("8.10", "The board reset", _reset),
    LiveStep("8.11", "The stop at the bench", _own_stop, ("C11",)),
    LiveStep("8.12", "The buzzer", _signals),
    LiveStep("8.13", "The fan", _fan, ("C37",), fits=_needs(HAS_FAN, "fan")),
)


def run(live: Live, say: Say) -> list[StepResult]:
    """Do the steps; one that fails ends them, for what follows trusts in it."""
    live.person.tell(BEFORE)
    live.watch(LOOK_TICKS)
    results: list[StepResult] = []
    for step in STEPS:
        outcome, found = _run_one(live, step)
        result = StepResult(
            step.number, step.title, LAMP, outcome, found.said, found.measured, found.limit,
            found.unit, step.checks, step.modules,
        )  # fmt: skip
        results.append(result)
        say(line(result))
        if outcome == FAILED:
            live.person.tell("Nothing more is tried: take the supply of the lamp away.")
            break
    live.stop()
    return results


def _run_one(live: Live, step: LiveStep) -> tuple[str, Found]:
    why_not = step.fits(live.settings)
    if why_not:
        return NOT_FITTED, Found(why_not)
    try:
        found = step.act(live)
        return (PASSED if found.is_inside else FAILED), found
    except Skipped:
        return NOT_DONE, Found("left out")
    except (Failed, LinkError, Refused) as error:
        return FAILED, Found(str(error))


__all__ = ["STEPS", "Person", "run"]
