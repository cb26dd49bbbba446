"""Steps 6 and 7: the controller itself. Reset and watchdog while it heats, its clock for long."""

import time

from emberbed.link.events import Greeting
from emberbed_fw import run_states as rs
from emberbed_fw.record import OUT_CONTACTOR
from emberbed_fw.safety_limits import LATE_TICK_MS, OVERRUN_TICK_MS
from emberbed_fw.units import TICK_MS, TICKS_PER_S
from emberbed_hil.bench import Bench, Failed
from emberbed_hil.channel import elapsed_ms
from emberbed_hil.heater import HOLD_C, heater_for, hold_plan
from emberbed_hil.plans import HOLD, sensors_of
from emberbed_hil.step import MS, Found, Step
from emberbed_hil.trip_ways import HOLD_C as LEVEL_C

WATCHDOG_MS = 2000  # contracts: fed at least every 1 to 2 s
FED_TICKS = 50
SOAK_PART_S = 30.0
WHOLE_RUN_S = 60.0
MOST_RUN_TICKS = 9000
POWER_S = 60.0  # for a person at a plug


def _running(bench: Bench) -> None:
    bench.to_run(board_c=LEVEL_C)
    bench.until_stage(HOLD)


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
        scene.fails = True

    bench.scene.course = fails
    fed_ms = bench.outputs.driven_ms
    told = bench.until_gone(3 * WATCHDOG_MS / 1000)
    for tick in told[1:]:  # the first may still have had a healthy reading
        if tick.outputs.fed:
            raise Failed("a tick that failed fed the watchdog")
        if tick.outputs.zones or tick.outputs.bits & OUT_CONTACTOR:
            raise Failed("a switch stayed closed while readings failed")
    bench.scene.reset()
    _began_anew(bench, bench.await_start(), "the watchdog's reset")
    took_ms = elapsed_ms(told[-1].outputs.driven_ms, fed_ms) + TICK_MS
    return Found("no tick was whole, and the watchdog reset it", took_ms, WATCHDOG_MS, MS)


def _freezes(bench: Bench) -> Found:
    """A processor that stands still with its outputs as they are."""
    assert bench.hands is not None, "asked before"
    _running(bench)
    bench.own_clock(0.5)
    began_s = time.monotonic()
    bench.hands.freeze()
    bench.until_gone(3 * WATCHDOG_MS / 1000)
    greeting = bench.await_start()
    took_ms = round((time.monotonic() - began_s) * 1000)
    _began_anew(bench, greeting, "the watchdog's reset")
    return Found(f"answered again {took_ms} ms later, with no switch closed")


def _power(bench: Bench) -> Found:
    assert bench.hands is not None, "asked before"
    _running(bench)
    bench.own_clock(0.5)
    bench.hands.cut_power()
    bench.until_gone(POWER_S)
    _began_anew(bench, bench.await_start(), "a power cut")
    return Found("power cut while heating: dark, and it knew of no run")


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
        _before_heater(bench, seconds + WHOLE_RUN_S)
        bench.until_stage(1, MOST_RUN_TICKS)
        gaps: list[int] = []
        lasted_ms = 0
        end_s = time.monotonic() + seconds
        while (left_s := end_s - time.monotonic()) > 0:
            for tick in bench.own_clock(min(left_s, SOAK_PART_S)):
                gaps.append(tick.outputs.elapsed_ms)
                lasted_ms = max(lasted_ms, elapsed_ms(tick.outputs.driven_ms, tick.outputs.read_ms))
                if tick.record.trip:
                    raise Failed(
                        f"it tripped after {len(gaps) / TICKS_PER_S:g} s of a healthy hold"
                    )
        gaps = gaps[1:]  # the first one began on given ticks
        late = sum(gap > LATE_TICK_MS for gap in gaps)
        mean = sum(gaps) / len(gaps)
        return Found(
            f"{len(gaps)} ticks, mean {mean:.2f} ms, {min(gaps)} to {max(gaps)} ms, {late} late;"
            f" from reading to driving at most {lasted_ms} ms",
            max(gaps), OVERRUN_TICK_MS, MS,
        )  # fmt: skip

    return act


def steps(soak_s: float) -> tuple[Step, ...]:
    """Return the steps; the last one lasts `soak_s` seconds."""
    loop = ("main_loop.py", "tick.py", "heap.py", "ports/inject.py")
    return (
        Step("6.1", "The watchdog is fed by whole ticks", _fed, ("C36",), loop),
        Step("6.2", "Not fed, the watchdog resets it", _not_fed, ("C15", "C36"), loop, resets=True),
        Step("6.3", "A reset while it heats", _reset, modules=loop, resets=True),
        Step("6.4", "A processor that stands still is reset", _freezes, modules=loop, resets=True,
             by_hand=True),
        Step("6.5", "Power taken away while it heats", _power, modules=loop, resets=True,
             by_hand=True),
        Step("7.1", "A whole run on the simulated heater", _whole_run, modules=loop),
        Step("7.2", f"Its clock over {_spoken(soak_s)} of a held temperature", _jitter(soak_s),
             ("C07",), loop, is_long=True),
    )  # fmt: skip


def _spoken(seconds: float) -> str:
    return f"{seconds / 60:g} min" if seconds >= 60 else f"{seconds:g} s"
