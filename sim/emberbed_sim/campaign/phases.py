"""The moments of a run at which faults strike: one healthy run, a fork of it at each.

idle       before arming: the fault is there when somebody arms and presses
arming     armed, no heat yet, the button not pressed yet
ramp       a minute into the first ramp, at full power
soak       in the last hold before the hot air
waiting    the device waits for a person, the board is held warm
hot_air    hot air from above is on
cooling    the plan is through, the board cools
stopping   a person stops the soak (even seeds) or the waiting (odd) in the very tick of the fault
"""

from collections.abc import Iterator
from functools import lru_cache
from itertools import islice

from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_fw.plan import HOLD, HOT_AIR, RAMP
from emberbed_fw.tick import Machine
from emberbed_fw.units import TICKS_PER_S
from emberbed_sim.campaign.setups import Setup, draw, new_loop
from emberbed_sim.closed_loop import ClosedLoop

IDLE, ARMING, RAMPING, SOAK, WAITING, AIR, COOLING, STOPPING = PHASES = (
    "idle", "arming", "ramp", "soak", "waiting", "hot_air", "cooling", "stopping",
)  # fmt: skip
BEFORE_PRESS = (IDLE, ARMING)
AFTER_END = (COOLING, STOPPING)
ARMED_TICKS = 1 * TICKS_PER_S
INTO_S = {RAMPING: 60, SOAK: 15, WAITING: 5, AIR: 10, COOLING: 5}
MOST_TICKS = 2 * 3600 * TICKS_PER_S
KEPT = 3  # setups with their seeds whose forks stay in memory


class PhaseError(Exception):
    """A healthy run does not come to a phase; names setup and seed."""


@lru_cache(maxsize=KEPT)
def snapshots(setup: Setup, seed: int) -> dict[str, ClosedLoop]:
    """Return the loop at every phase; fork before use."""
    loop = new_loop(draw(setup, seed), seed)
    found = {IDLE: loop.fork()}
    into_ticks: dict[str, int] = dict.fromkeys(PHASES, 0)
    for _record in islice(loop.run(), MOST_TICKS):
        for phase in _phases_now(loop.machine):
            into_ticks[phase] += 1
            if into_ticks[phase] == _ticks_into(phase):
                found[phase] = loop.fork()
        if COOLING in found:
            break
    stopped = SOAK if seed % 2 == 0 else WAITING
    if stopped in found:
        found[STOPPING] = found[stopped]
    missing = [phase for phase in PHASES if phase not in found]
    if missing:
        raise PhaseError(
            f"the healthy run of setup {setup} with seed {seed} does not come to"
            f" {', '.join(missing)}: it ends {rs.STATE_NAMES[loop.machine.life.state]} with trip"
            f" {loop.machine.guard.trip}"
        )
    return found


def strike(loop: ClosedLoop, phase: str) -> None:
    """Do what a person does in the tick of the fault."""
    if phase == STOPPING:
        stop = bytes([messages.STOP_BY_PERSON])
        loop.machine.commands.put(messages.STOP, stop, 0, len(stop))


def _ticks_into(phase: str) -> int:
    return ARMED_TICKS if phase == ARMING else INTO_S[phase] * TICKS_PER_S


def _phases_now(machine: Machine) -> Iterator[str]:
    state, sequencer = machine.life.state, machine.sequencer
    if state == rs.COLD_PROOF:
        yield ARMING
    elif state == rs.COOL:
        yield COOLING
    elif state in rs.STAGED_STATES and sequencer is not None and machine.plan is not None:
        kinds, stage = machine.plan.stage["kind"], sequencer.stage
        if stage == 0 and sequencer.kind() == RAMP:
            yield RAMPING
        elif sequencer.air_on:
            yield AIR
        elif sequencer.kind() == HOLD and kinds[stage + 1] == HOT_AIR:
            yield SOAK
        elif state == rs.WAIT and sequencer.kind() != HOT_AIR:
            yield WAITING
