"""Steps 1 to 3: which device this is, that it reads what it is given and starts only by hand."""

from emberbed.device_description import decode_settings
from emberbed.link.device import Refused
from emberbed_fw import messages as ms
from emberbed_fw import record
from emberbed_fw import run_states as rs
from emberbed_fw.converters import tells_cold
from emberbed_fw.safety_limits import (
    COLD_PROOF_GOOD_TICKS,
    HOT_PROOF_DARK_TICKS,
    HOT_PROOF_PULSE_TICKS,
    PRESS_HELD_TICKS,
    PRESS_VALID_TICKS,
)
from emberbed_fw.settings import HAS_FAN, Settings
from emberbed_fw.units import TICK_MS
from emberbed_hil.bench import AT_ONCE, Bench, Failed
from emberbed_hil.evidence import must_act_ms
from emberbed_hil.plans import sensors_of
from emberbed_hil.step import MS, Found, Step

READ_TICKS = 20
MOST_OFF_CDEG = 30  # half a step of the coarsest converter, and rounding
LEVELS_C = (20.0, 100.0, 240.0)
APART_C = 7.0  # between neighbouring channels
SHORT_OF_HELD = PRESS_HELD_TICKS - 3
FAN_TICKS = 100
FLAGS = {
    record.PORT_BUTTON: "button", record.PORT_CONTACTOR_CLOSED: "mirror contact",
    record.PORT_HEAT_CURRENT: "current sense", record.PORT_FAN_TURNS: "tach",
}  # fmt: skip


def _scene(bench: Bench):
    assert bench.scene is not None
    return bench.scene


def _says_injected(bench: Bench) -> Found:
    bench.tick(READ_TICKS)
    if any(not tick.record.port_flags & record.PORT_INJECTED for tick in bench.ticks):
        raise Failed("its records do not say that they were injected")
    return Found("greeting and every record say so")


def _is_dark(bench: Bench) -> Found:
    bench.tick(READ_TICKS)
    if not bench.is_dark or bench.newest.trip:
        raise Failed("a device that nobody has armed drives a switch, or has tripped")
    return Found("no switch is driven, nothing has tripped")


def _no_more_messages(bench: Bench) -> Found:
    known = {kind for name, kind in vars(ms).items() if name in ms.MESSAGE_NAMES.values()}
    for kind in range(1, 64):
        if kind in known:
            continue
        try:
            bench.device.ask(kind)
        except Refused as refused:
            if refused.code == ms.NOT_OFFERED:
                continue
        raise Failed(f"it takes message number {kind}, which is none of the set")
    return Found("none besides the set is taken: no start, no press, no output")


def _reads(bench: Bench) -> Found:
    """Every channel gets a temperature of its own, which tells channels apart too."""
    scene = _scene(bench)
    names = decode_settings(bench.settings.block).fitted_names()
    worst = 0
    couples = [*sensors_of(bench.settings).board, *sensors_of(bench.settings).emitters]
    for level_c in LEVELS_C:
        for place, channel in enumerate(couples):
            scene.board_c[channel] = level_c + place * APART_C
        scene.live_ticks = 0
        bench.tick(3)
        read = bench.newest.channels_cdeg()
        for place, channel in enumerate(couples):
            wanted = round((level_c + place * APART_C) * 100)
            cdeg = read[channel]
            if cdeg is None or abs(cdeg - wanted) > MOST_OFF_CDEG:
                raise Failed(_misread(names, couples, channel, cdeg, wanted, read))
            worst = max(worst, abs(cdeg - wanted))
    return Found(f"{len(couples)} channels at {len(LEVELS_C)} temperatures", worst / 100,
                 MOST_OFF_CDEG / 100, "°C")  # fmt: skip


def _misread(names, couples, channel, cdeg, wanted, read) -> str:
    if cdeg is None:
        return f"channel {channel} ({names[channel]}) gives no reading of a healthy word"
    other = next((c for c in couples if c != channel and read[c] is not None
                  and abs(read[c] - wanted) <= MOST_OFF_CDEG), None)  # fmt: skip
    if other is not None:
        return (
            f"channels {channel} ({names[channel]}) and {other} ({names[other]}) are swapped:"
            " change them in the device's description"
        )
    return f"channel {channel} ({names[channel]}) reads {cdeg / 100:g} °C for {wanted / 100:g} °C"


def _reads_cold(bench: Bench) -> Found:
    scene = _scene(bench)
    scene.cold_c = 31.5
    bench.tick(3)
    off = 0
    for channel in scene.fitted:
        if tells_cold(bench.settings.converter[channel]):
            off = max(off, abs(getattr(bench.newest, f"cold{channel}_cdeg") - 3150))
    if off > MOST_OFF_CDEG:
        raise Failed("a converter's own temperature is read wrong")
    return Found("converters' own temperatures", off / 100, MOST_OFF_CDEG / 100, "°C")


def _reads_flags(bench: Bench) -> Found:
    for flag, name in FLAGS.items():
        _scene(bench).more_flags = flag
        bench.tick(2)
        if not bench.newest.port_flags & flag:
            raise Failed(f"the {name} is not seen")
        _scene(bench).more_flags = 0
        bench.tick(2)
        if bench.newest.port_flags & flag:
            raise Failed(f"the {name} is still seen when it is gone")
    return Found("button, mirror contact, current sense and tach, on and off")


def _armed(bench: Bench) -> None:
    bench.load()
    bench.arm()


def _stays_dark(bench: Bench, ticks: int, what: str) -> None:
    for _tick in range(ticks):
        bench.tick()
        if not bench.is_dark:
            raise Failed(f"a switch closed {what}")


def _no_press_no_heat(bench: Bench) -> Found:
    _armed(bench)
    armed_at = bench.newest.tick
    bench.until(
        lambda told: told.state != rs.COLD_PROOF,
        PRESS_VALID_TICKS + AT_ONCE,
        "the end of the press that was offered",
        AT_ONCE,
    )
    told = bench.since(armed_at)
    if any(tick.outputs.zones or tick.record.outputs & record.OUT_CONTACTOR for tick in told):
        raise Failed("a switch closed although nobody had pressed")
    ended = next(tick.record for tick in told if tick.record.state != rs.COLD_PROOF)
    took_ms = (ended.tick - armed_at - 1) * TICK_MS
    return Found("the offer of a press ended, no switch closed", took_ms, must_act_ms("C12"), MS)


def _stuck_button(bench: Bench) -> Found:
    _scene(bench).button = True
    bench.tick(5)
    _armed(bench)
    _stays_dark(bench, 5 * PRESS_HELD_TICKS, "with a button that was never let go")
    return Found("a button that was down before arming starts nothing")


def _short_press(bench: Bench) -> Found:
    _armed(bench)
    bench.tick(COLD_PROOF_GOOD_TICKS + 5)
    _scene(bench).button = True
    bench.tick(SHORT_OF_HELD)
    _scene(bench).button = False
    _stays_dark(bench, 30, "for a press that was too short")
    return Found(f"a press of {SHORT_OF_HELD * TICK_MS} ms starts nothing")


def _bad_sensor(bench: Bench) -> Found:
    scene = _scene(bench)
    scene.raw[sensors_of(bench.settings).control] = 0
    _armed(bench)
    bench.tick(COLD_PROOF_GOOD_TICKS + 5)
    bench.press()
    _stays_dark(bench, 30, "with a sensor that does not answer")
    return Found("a press with a bad sensor starts nothing")


def _proofs(bench: Bench) -> Found:
    """After the press: the contactor alone, then one short pulse, then the first stage."""
    scene = _scene(bench)
    scene.all_at(64.0)
    bench.tick(5)
    _armed(bench)
    bench.tick(COLD_PROOF_GOOD_TICKS + 5)
    before = bench.newest.tick
    bench.press()
    bench.until(lambda told: told.state == rs.RUN, 60, "the first stage")
    proof = [
        tick for tick in bench.ticks
        if tick.record.tick > before and tick.record.state == rs.HOT_PROOF
    ]  # fmt: skip
    dark = [tick for tick in proof if tick.outputs.zones == 0]
    pulse = len(proof) - len(dark)
    if not all(tick.outputs.bits & record.OUT_CONTACTOR for tick in proof[1:]):
        raise Failed("the contactor did not stay closed while it proved itself")
    led = next((at for at, tick in enumerate(proof) if tick.outputs.zones), 0)
    if led < HOT_PROOF_DARK_TICKS:
        raise Failed(f"heat came {led} ticks after the contactor, not {HOT_PROOF_DARK_TICKS}")
    return Found(
        f"contactor alone for {led * TICK_MS} ms, then one pulse",
        pulse * TICK_MS, HOT_PROOF_PULSE_TICKS * TICK_MS, MS,
    )  # fmt: skip


def _lamp_and_fan(bench: Bench) -> Found:
    bench.to_run(board_c=64.0)
    bench.tick(5)
    if not bench.outputs.bits & record.OUT_LAMP:
        raise Failed("the lamp is dark on a hot board")
    bench.device.stop()
    if not bench.settings.has_input(HAS_FAN):
        return Found("lamp on while hot")
    bench.until(lambda told: told.outputs & record.OUT_FAN != 0, FAN_TICKS, "the fan")
    return Found("lamp on while hot, fan on in the cooling")


def _needs_tells(settings: Settings) -> str:
    tells = any(tells_cold(kind) for kind in settings.converter)
    return "" if tells else "its converters keep their own temperature to themselves"


READS = ("converters.py", "readings.py", "type_k.py")
STARTS = ("button.py", "life.py", "commands.py", "hand.py")
STEPS = (
    Step("1.1", "The device says that its readings are injected", _says_injected,
         modules=("ports/inject.py", "link.py", "recorder.py")),
    Step("1.2", "At rest no switch is driven", _is_dark, modules=("tick.py", "guard.py")),
    Step("1.3", "No message starts, presses or drives", _no_more_messages,
         modules=("link.py", "messages.py", "commands.py")),
    Step("2.1", "Every channel reads what it is given", _reads, modules=READS),
    Step("2.2", "Converters' own temperatures are read", _reads_cold, modules=READS,
         fits=_needs_tells),
    Step("2.3", "Button and senses are seen", _reads_flags, modules=("tick.py", "guard.py")),
    Step("3.1", "Armed, without a press: no heat, and the offer ends", _no_press_no_heat, ("C12",),
         STARTS),
    Step("3.2", "A stuck button starts nothing", _stuck_button, ("C12",), STARTS),
    Step("3.3", "A short press starts nothing", _short_press, ("C12",), STARTS),
    Step("3.4", "A bad sensor keeps a press from counting", _bad_sensor, ("C16",), STARTS),
    Step("3.5", "A press: both switches prove themselves before the first stage", _proofs,
         ("C08", "C09"), STARTS),
    Step("3.6", "Lamp while hot, fan in the cooling", _lamp_and_fan, modules=("signals.py",)),
)  # fmt: skip
