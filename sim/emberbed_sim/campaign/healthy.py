"""Healthy days: whatever happens at a bench that is no fault must not trip.

A seed draws the setup, the person and what happens: emitters hot from the last board, a board that
follows another, draught, tweezers and a cold chip, a sagging mains, hot air that wanders. A trip, a
lost link, a run that does not come to its cooling or a broken rule of the monitor is a false trip;
a question "is the sensor touching?" is counted apart.
"""

from collections.abc import Iterator
from random import Random
from typing import NamedTuple

from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_fw.units import TICKS_PER_S
from emberbed_sim.campaign.monitor import Allowed, Monitor
from emberbed_sim.campaign.outcomes import found_by
from emberbed_sim.campaign.results import Result
from emberbed_sim.campaign.setups import (
    ANY_BOARD,
    GUESSED,
    KNOWN,
    SENSES,
    SENSOR_SETS,
    Draw,
    Setup,
    new_loop,
)
from emberbed_sim.campaign.setups import draw as draw_bench
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.faults import FaultEvent
from emberbed_sim.operator import Act, Operator

KNOWLEDGE_SHARES = (KNOWN, KNOWN, GUESSED, ANY_BOARD)
HOT_SHARE, NEXT_SHARE, WANDERS_SHARE, HAPPENS_SHARE = 0.3, 0.1, 0.4, 0.3
HOT_BENCH_C = (120, 400)
HOLDS_S = (8, 25)
ANSWERS_S, AIR_S = (2.0, 12.0), (15.0, 40.0)
LATEST_S = 400.0  # of what happens some time in a run
DRAUGHT_W_M2_K, DRAUGHT_S = (5, 25), (20.0, 200.0)
TOUCH_S = (1.0, 4.0)  # tweezers on a bead
SAG_PERCENT, SAG_S = (92, 108), (5.0, 120.0)
NEXT_AFTER_S = (10.0, 120.0)
MOST_S = 3600.0
INTO_COOLING_S = 2.0


class Day(NamedTuple):
    """What a seed has drawn."""

    setup: Setup
    hold_s: int
    operator: Operator
    events: tuple[FaultEvent, ...]
    wanders: bool
    chip_under_air: bool
    next_after_s: float  # 0 = one board only
    says: str


def draw_day(seed: int) -> Day:
    """Draw everything that a seed decides besides bench and noise."""
    random = Random(f"healthy {seed}")
    setup = Setup(
        random.choice(SENSOR_SETS), random.choice(SENSES), random.choice(KNOWLEDGE_SHARES)
    )
    operator = Operator(
        answers_after_s=random.uniform(*ANSWERS_S),
        air_for_s=random.uniform(*AIR_S),
        acts=tuple(_acts(random)),
    )
    next_after_s = random.uniform(*NEXT_AFTER_S) if random.random() < NEXT_SHARE else 0.0
    events = tuple(_events(random, len(SENSOR_SETS[: SENSOR_SETS.index(setup.sensors) + 1])))
    wanders, chip = random.random() < WANDERS_SHARE, random.random() < HAPPENS_SHARE
    told = sorted({event.name for event in events})
    told += ["hot_air_wanders"] * wanders + ["cold_chip"] * chip
    told += ["next_board"] * (next_after_s > 0)
    hold_s = random.randint(*HOLDS_S)
    return Day(setup, hold_s, operator, events, wanders, chip, next_after_s, " ".join(told))


def draw_of(seed: int) -> Draw:
    """Return what the day's bench and plan follow from."""
    day = draw_day(seed)
    return Draw(day.setup, seed, hold_s=day.hold_s)


def run_healthy(seed: int) -> Result:
    """Run one healthy day; `miss` says what was false."""
    day = draw_day(seed)
    drawn = draw_bench(*draw_of(seed))
    loop = new_loop(drawn, seed, day.operator)
    loop.heater.add_faults(day.events)
    if day.next_after_s:
        for _record in loop.run():
            if loop.machine.life.state == rs.COOL and _is_cool(loop):
                break
        loop = loop.next_board(drawn.plan, day.next_after_s, day.operator)
    return _watched(loop, day, drawn.plan, seed)


def _watched(loop: ClosedLoop, day: Day, plan: bytes, seed: int) -> Result:
    monitor = Monitor(loop, plan, (), Allowed())
    begun_s, resets = loop.heater.elapsed_s, loop.resets
    asks, asked, blown, cooled = 0, False, False, 0
    for _record in loop.run(round(MOST_S * TICKS_PER_S)):
        monitor.step()
        if found_by(loop, resets):
            break
        asking = loop.machine.guard.doubts.asks > 0
        if asking and not asked:
            asks += 1
        asked = asking
        if loop.heater.air_on and not blown:
            blown = True
            loop.heater.add_faults(_under_air(loop.heater.elapsed_s, day))
        cooled += loop.machine.life.state == rs.COOL
        if cooled >= INTO_COOLING_S * TICKS_PER_S:
            break
    found = found_by(loop, resets)
    miss = f"false trip {found}" if found else "" if cooled else "it does not come to its cooling"
    if monitor.broken:
        miss = "the monitor saw " + ", ".join(monitor.broken)
    return Result(
        "healthy", day.says or "quiet", "", str(day.setup), seed, "healthy", miss, found,
        None, None, monitor.peak_c, monitor.plan.header["peak_cdeg"] / 100, monitor.over_limit_k,
        asks, loop.heater.elapsed_s - begun_s, monitor.last_heat_s is not None,
    )  # fmt: skip


def _is_cool(loop: ClosedLoop) -> bool:
    """Tell whether the board may come off: as soon as tools may touch it."""
    return loop.machine.hottest_on_board_cdeg() < loop.machine.handling_cdeg()


def _acts(random: Random) -> Iterator[Act]:
    """Yield a person's own changes: a hotter or cooler target, a longer stage."""
    if random.random() < HAPPENS_SHARE:
        offset_cdeg = random.choice((-500, -200, 200, 300))
        yield Act(round(random.uniform(20.0, 200.0), 1), messages.OFFSET, offset_cdeg)


def _events(random: Random, sensors: int) -> Iterator[FaultEvent]:
    def happens() -> bool:
        return random.random() < HAPPENS_SHARE

    def some_time_s() -> float:
        return random.uniform(0.0, LATEST_S)

    if random.random() < HOT_SHARE:
        yield FaultEvent("hot_bench", 0.0, None, random.randint(*HOT_BENCH_C))
    if happens():
        blows = random.randint(*DRAUGHT_W_M2_K)
        yield FaultEvent("draught", some_time_s(), random.uniform(*DRAUGHT_S), blows)
    for _touch in range(random.randint(0, 2)):
        channel = random.randrange(sensors)
        yield FaultEvent("bead_touched", some_time_s(), random.uniform(*TOUCH_S), channel)
    if happens():
        volts = random.randint(*SAG_PERCENT)
        yield FaultEvent("mains_off_nominal", some_time_s(), random.uniform(*SAG_S), volts)


def _under_air(now_s: float, day: Day) -> Iterator[FaultEvent]:
    """Yield what happens once the person has brought the hot air."""
    if day.wanders:
        yield FaultEvent("hot_air_wanders", now_s, day.operator.air_for_s)
    if day.chip_under_air:
        yield FaultEvent("cold_chip", now_s + day.operator.air_for_s / 2, None)
