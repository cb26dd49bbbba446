"""Steps 6 and 7: the controller itself. Reset and watchdog while it heats, its clock for long."""

import math
import time
from contextlib import suppress

from emberbed.link.events import Greeting
from emberbed.link.transport import LinkError
from emberbed.trip_titles import TRIP_TITLES
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes as codes
from emberbed_fw.device_port import RESET_COMMANDED, RESET_POWER, RESET_WATCHDOG
from emberbed_fw.ports import inject
from emberbed_fw.record import OUT_CONTACTOR
from emberbed_fw.safety_limits import LATE_TICK_MS, OVERRUN_TICK_MS
from emberbed_fw.units import TICK_MS, TICKS_PER_S
from emberbed_hil.bench import Bench, Failed, Tick
from emberbed_hil.channel import elapsed_ms
from emberbed_hil.heater import HOLD_C, heater_for, hold_plan
from emberbed_hil.injection import RESEND_S
from emberbed_hil.plans import HOLD, HOLD_TICKS, sensors_of, stages_plan
from emberbed_hil.step import MS, Found, Step
from emberbed_hil.trip_ways import HOLD_C as LEVEL_C

WATCHDOG_MS = 2000  # contracts: fed at least every 1 to 2 s
FED_TICKS = 50
SOAK_PART_S = 30.0
WHOLE_RUN_S = 60.0
MOST_RUN_TICKS = 9000
PC_BUSY_TICKS = 10  # a PC that comes late with a reading is not the device's clock
SHARES = (0.5, 0.9, 0.99, 0.999)
POWER_S = 60.0  # for a person at a plug
WHY = {RESET_POWER: "its supply", RESET_WATCHDOG: "its watchdog", RESET_COMMANDED: "a command"}


def _running(bench: Bench, hold_ticks: int = HOLD_TICKS) -> None:
    bench.to_run(stages_plan(bench.settings, hold_ticks=hold_ticks), LEVEL_C)
    bench.until_stage(HOLD)


def _until_gone(bench: Bench, seconds: float) -> list[Tick]:
    """Follow the device's own clock until it starts anew; return its ticks until then. Failed when
    it does not."""
    begun = bench.newest.tick
    end_s = time.monotonic() + seconds
    with suppress(LinkError):
        while time.monotonic() < end_s:
            known = bench.newest.tick
            bench.own_clock(RESEND_S)
            if bench.newest.tick == known:
                break
        else:
            raise Failed(f"it did not start anew within {seconds:g} s")
    return bench.since(begun)


def _began_anew(bench: Bench, greeting: Greeting, what: str) -> None:
    """The device knew of no run when it was back, and has no switch closed."""
    if greeting.state != rs.IDLE or greeting.run_session:
        raise Failed(f"after {what} it still knows of a run")
    bench.tick(20)
    if not bench.is_dark or bench.newest.state != rs.IDLE:
        raise Failed(f"after {what} a switch is closed, or it went on by itself")


def _reset(bench: Bench) -> Found:
    _running(bench)
    _began_anew(bench, bench.reset(), "a reset")
    return Found("reset while heating: dark, and it knew of no run")


def _fed(bench: Bench) -> Found:
    _running(bench)
    for _tick in range(FED_TICKS):
        bench.tick()
        if not bench.outputs.fed:
            raise Failed("a tick in which every step was taken did not feed the watchdog")
    return Found(f"fed in each of {FED_TICKS} whole ticks")


def _not_fed(bench: Bench) -> Found:
    """Readings that fail in every tick: no tick is whole, nothing feeds, the watchdog resets."""
    assert bench.scene is not None
    _running(bench)
    bench.tick()

    def fails(scene) -> None:
        scene.how = inject.FAILS

    bench.scene.course = fails
    fed_ms = bench.outputs.driven_ms
    told = _until_gone(bench, 3 * WATCHDOG_MS / 1000)
    for tick in told[1:]:  # the first may still have had a healthy reading
        if tick.outputs.fed:
            raise Failed("a tick that failed fed the watchdog")
        if tick.outputs.zones or tick.outputs.bits & OUT_CONTACTOR:
            raise Failed("a switch stayed closed while readings failed")
    bench.scene.reset()
    _began_anew(bench, bench.await_start(), "the watchdog's reset")
    took_ms = elapsed_ms(told[-1].outputs.driven_ms, fed_ms) + TICK_MS
    return Found("no tick was whole, and the watchdog reset it", took_ms, WATCHDOG_MS, MS)


def _hangs(bench: Bench) -> Found:
    """A program that stands still within a tick, its outputs as they are."""
    assert bench.scene is not None
    _running(bench)
    bench.own_clock(0.5)
    bench.scene.how = inject.HANGS
    began_s = time.monotonic()
    _until_gone(bench, 3 * WATCHDOG_MS / 1000)
    bench.scene.reset()
    greeting = bench.await_start()
    took_s = time.monotonic() - began_s
    if greeting.reset_cause == RESET_COMMANDED:
        raise Failed("it was reset by a command, not by its watchdog")
    _began_anew(bench, greeting, "the watchdog's reset")
    return Found(f"answered again {took_s:.1f} s later, with no switch closed; {_why(greeting)}")


def _power(bench: Bench) -> Found:
    """Every supply taken away: asked for before the run, for nobody answers while it heats."""
    hands = bench.hands
    assert hands is not None, "asked before"
    hands.stand_by()
    _running(bench, round(2 * POWER_S * TICKS_PER_S))
    bench.own_clock(0.5)
    hands.cut_power()
    _until_gone(bench, POWER_S)
    gone_s = time.monotonic()
    if bench.newest.state != rs.RUN:
        raise Failed("it did not heat any more when its power was cut: do this step again")
    greeting = bench.await_start(hands.back_s)
    away_s = time.monotonic() - gone_s
    if greeting.reset_cause != RESET_POWER:
        raise Failed(f"{_why(greeting)}: its supply was not away; cut every supply, USB too")
    _began_anew(bench, greeting, "a power cut")
    said = "power cut while heating: dark, and it knew of no run"
    return Found(f"{said}; answered again {away_s:.1f} s later; {_why(greeting)}")


def _why(greeting: Greeting) -> str:
    return f"it says that {WHY[greeting.reset_cause]} started it anew"


def _whole_run(bench: Bench) -> Found:
    """A whole run on the simulated heater, on given ticks: nothing trips."""
    _before_heater(bench, WHOLE_RUN_S)
    bench.until(lambda told: told.state == rs.COOL, MOST_RUN_TICKS, "the end of a healthy run")
    hottest_c = max(tick.record.channel_cdeg(sensors_of(bench.settings).control) or 0
                    for tick in bench.ticks) / 100  # fmt: skip
    if bench.newest.verdict != rs.FINISHED:
        raise Failed("a healthy run on the simulated heater did not finish")
    return Found(f"finished; hottest {hottest_c:.1f} °C of {HOLD_C:g} °C asked")


def _before_heater(bench: Bench, for_s: float) -> None:
    """Start a plain hold with the simulated heater in front of the device."""
    assert bench.scene is not None
    plan = hold_plan(bench.settings, for_s)
    bench.load(plan)
    bench.scene.heater = heater_for(bench.settings, bench.scene.fitted)
    bench.arm()
    bench.tick(15)
    bench.press()
    bench.until(lambda told: told.state == rs.RUN, 60, "the first stage")


def _jitter(seconds: float):
    def act(bench: Bench) -> Found:
        """Hold a temperature by the device's own clock, the simulated heater in front of it."""
        assert bench.scene is not None
        _before_heater(bench, seconds + WHOLE_RUN_S)
        bench.scene.lasts = PC_BUSY_TICKS
        bench.until_stage(1, MOST_RUN_TICKS)
        gaps: list[int] = []
        lasted_ms = 0
        end_s = time.monotonic() + seconds
        while (left_s := end_s - time.monotonic()) > 0:
            for tick in bench.own_clock(min(left_s, SOAK_PART_S)):
                gaps.append(tick.outputs.elapsed_ms)
                lasted_ms = max(lasted_ms, elapsed_ms(tick.outputs.driven_ms, tick.outputs.read_ms))
                if tick.record.trip:
                    raise Failed(_tripped(tick.record.trip, gaps))
        gaps = gaps[1:]  # the first one began on given ticks
        said = f"{spread(gaps)}; from reading to driving at most {lasted_ms} ms"
        return Found(said, max(gaps), OVERRUN_TICK_MS, MS)

    return act


def _tripped(trip: int, gaps: list[int]) -> str:
    title = TRIP_TITLES[codes.TRIPS[trip - 1][1]]
    told = spread(gaps[1:] or gaps)
    return f'"{title}" after {len(gaps) / TICKS_PER_S:g} s of a healthy hold; {told}'


def spread(gaps: list[int]) -> str:
    """Return how times between ticks, in ms, lie about TICK_MS: shares by rank, and late ones."""
    off = sorted(abs(gap - TICK_MS) for gap in gaps)
    shares = ", ".join(
        f"{share * 100:g} % within {off[math.ceil(share * len(off)) - 1]} ms" for share in SHARES
    )
    late = sum(gap > LATE_TICK_MS for gap in gaps)
    mean_ms = sum(gaps) / len(gaps)
    return (
        f"{len(gaps)} ticks, mean {mean_ms:.2f} ms, {min(gaps)} to {max(gaps)} ms, {late} late;"
        f" off {TICK_MS} ms: {shares}"
    )


def steps(soak_s: float) -> tuple[Step, ...]:
    """Return the steps; the last one lasts `soak_s` seconds."""
    loop = ("main_loop.py", "tick.py", "heap.py", "ports/inject.py")
    return (
        Step("6.1", "The watchdog is fed by whole ticks", _fed, ("C36",), loop),
        Step("6.2", "Not fed, the watchdog resets it", _not_fed, ("C15", "C36"), loop, resets=True),
        Step("6.3", "A reset while it heats", _reset, modules=loop, resets=True),
        Step("6.4", "A program that stands still is reset", _hangs, ("C36",), loop, resets=True),
        Step("6.5", "Power taken away while it heats", _power, modules=loop, resets=True,
             by_hand=True),
        Step("7.1", "A whole run on the simulated heater", _whole_run, modules=loop),
        Step("7.2", f"Its clock over {_spoken(soak_s)} of a held temperature", _jitter(soak_s),
             ("C07",), loop, is_long=True),
    )  # fmt: skip


def _spoken(seconds: float) -> str:
    return f"{seconds / 60:g} min" if seconds >= 60 else f"{seconds:g} s"
