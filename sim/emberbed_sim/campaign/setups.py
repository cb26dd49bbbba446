"""Random benches with their plans: what one run of the campaign stands on.

A `Setup` says which sensors and senses are there and what is known of heater and board; a seed
draws the rest. Gives loops that are ready to be armed. An interpreter that cannot draw, as the
host's packages are not there, is given what another has drawn.
"""

from collections.abc import Mapping
from functools import lru_cache
from typing import NamedTuple

from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.operator import Operator
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import BenchParameters

ONE, EDGE, PAIR = SENSOR_SETS = ("one", "edge", "pair")
WITH, WITHOUT = SENSES = ("with", "without")
KNOWN, GUESSED, ANY_BOARD = KNOWLEDGE = ("known", "guessed", "any")
HOLD_S = 40  # of a hold that was minutes
ANSWERS_S, AIR_S = 60.0, 60.0  # long enough for a fault in a phase to be found in it


class Setup(NamedTuple):
    """Sensors on the board, senses of the switches, what is known of heater and board."""

    sensors: str = EDGE
    senses: str = WITH
    knowledge: str = KNOWN

    def __str__(self) -> str:
        return f"{self.sensors}/{self.senses}/{self.knowledge}"


class Drawn(NamedTuple):
    """What a seed has drawn for a setup."""

    bench: BenchParameters
    plan: bytes
    settings: bytes
    profile: str


class Draw(NamedTuple):
    """What a draw follows from."""

    setup: Setup
    seed: int
    profile_name: str = ""  # "" = drawn too
    hold_s: int = HOLD_S


_given: dict[Draw, Drawn] = {}


def give(drawn: Mapping[Draw, Drawn]) -> None:
    """Take these in place of all that were given before."""
    _given.clear()
    _given.update(drawn)


def draw(setup: Setup, seed: int, profile_name: str = "", hold_s: int = HOLD_S) -> Drawn:
    """Return bench and plan of this seed: as they were given, or drawn now."""
    what = Draw(setup, seed, profile_name, hold_s)
    return _given[what] if what in _given else _drawn_here(what)


@lru_cache(maxsize=64)
def _drawn_here(what: Draw) -> Drawn:
    # the host's compiler: only where it is needed
    from emberbed_sim.campaign.drawing import draw_anew

    return draw_anew(*what)


def new_loop(drawn: Drawn, seed: int, operator: Operator | None = None) -> ClosedLoop:
    """Return a loop on a fresh heater, not armed yet."""
    heater = SimulatedHeater(drawn.bench, seed)
    operator = operator or Operator(answers_after_s=ANSWERS_S, air_for_s=AIR_S)
    return ClosedLoop(drawn.settings, drawn.plan, heater, operator)
