"""The rules that `tune` tries: from a process near a working temperature to the device's gains."""

from collections.abc import Callable
from typing import NamedTuple

from emberbed.heater import tuning_rules as rules
from emberbed.heater.default_gains import Gains
from emberbed.heater.device_gains import TICK_S, device_gains
from emberbed.heater.margins import ultimate
from emberbed.heater.process import Process, half_rule
from emberbed.heater.tuning_rules import Ideal, Ultimate


class Design(NamedTuple):
    """One rule: `gains(process, slower)`; `slower` than the tightest is heard by `adjustable` ones.

    `offered` ones may be chosen, the others are there to compare with.
    """

    name: str
    offered: bool
    adjustable: bool
    gains: Callable[[Process, float], Gains]


def _preview_s(process: Process) -> float:
    """Return how late the board answers beside its main lag."""
    return half_rule(process, 1, TICK_S).delay_s


def _on_one_lag(rule: Callable[[Process], Ideal]) -> Callable[[Process, float], Gains]:
    return lambda process, _slower: device_gains(
        rule(half_rule(process, 1, TICK_S)), _preview_s(process)
    )


def _on_swing(rule: Callable[[Ultimate], Ideal]) -> Callable[[Process, float], Gains]:
    return lambda process, _slower: device_gains(rule(ultimate(process)), _preview_s(process))


def _simc(order: int, rule: Callable[[Process, float], Ideal]) -> Callable[[Process, float], Gains]:
    """SIMC leaves the closed-loop lag open; the tightest equals the delay."""

    def gains(process: Process, slower: float) -> Gains:
        reduced = half_rule(process, order, TICK_S)
        return device_gains(rule(reduced, slower * reduced.delay_s), _preview_s(process))

    return gains


DESIGNS = (
    Design("Ziegler-Nichols PI", False, False, _on_swing(rules.ziegler_nichols_pi)),
    Design("Ziegler-Nichols PID", False, False, _on_swing(rules.ziegler_nichols_pid)),
    Design("SIMC PI", True, True, _simc(1, rules.simc_pi)),
    Design("SIMC PID", True, True, _simc(2, rules.simc_pid)),
    Design("AMIGO PI", True, False, _on_one_lag(rules.amigo_pi)),
    Design("AMIGO PID", True, False, _on_one_lag(rules.amigo_pid)),
)
# for whoever wants to compare with more of what is published
MORE_DESIGNS = (
    Design("Ziegler-Nichols step PI", False, False, _on_one_lag(rules.ziegler_nichols_step_pi)),
    Design("Ziegler-Nichols step PID", False, False, _on_one_lag(rules.ziegler_nichols_step_pid)),
    Design("Tyreus-Luyben PI", False, False, _on_swing(rules.tyreus_luyben_pi)),
    Design("Tyreus-Luyben PID", False, False, _on_swing(rules.tyreus_luyben_pid)),
    Design("Cohen-Coon PI", False, False, _on_one_lag(rules.cohen_coon_pi)),
    Design("Cohen-Coon PID", False, False, _on_one_lag(rules.cohen_coon_pid)),
)
