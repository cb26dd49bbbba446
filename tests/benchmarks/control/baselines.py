"""The others: PID controllers as floats, with anti-windup, on the same heaters.

Published rules get the process that the same step test has found, near the middle of the working
temperatures. The controller sees what a converter gives (0.25 degC steps, one conversion late, the
same noise) and its power is not switched but set exactly: a little more than a real output can do.
`library_gains` are the best that a search over a grid found for the general-purpose library.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from simple_pid import PID

from emberbed.heater import tuning_rules as rules
from emberbed.heater.heater_file import HeaterFile
from emberbed.heater.linear_model import process_at
from emberbed.heater.margins import ultimate
from emberbed.heater.process import half_rule
from emberbed_sim.plant.parameters import TICK_S, BenchParameters
from tests.benchmarks.control.heaters import Batch, Mismatch
from tests.benchmarks.control.jobs import Timeline

WORKING_C = 120.0
CONVERTER_C = 0.25
FILTER_N = 10.0  # derivative filter: Td / N, as books have it
GRID = {  # of the library's search, factors of the rule's gains
    "kc": (0.3, 0.6, 1.0, 1.7, 3.0),
    "ti_s": (0.5, 1.0, 2.0, 5.0, 15.0),
    "td_s": (0.0, 0.5, 1.0, 2.0, 4.0),
}


@dataclass(frozen=True)
class Runs:
    """Readings of several heaters, [tick, heater], and the power they were given."""

    reading_c: np.ndarray
    power: np.ndarray


class Job(NamedTuple):
    """Heaters of one kind, each with its timeline, aligned at their ends."""

    kind: str
    heaters: Sequence[Mismatch]
    lines: Sequence[Timeline]

    def setpoints(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the setpoints in degC and whether each heater has begun, [tick, heater]."""
        ticks = max(len(line.setpoint_c) for line in self.lines)
        asked_c, begun = (
            np.zeros((ticks, len(self.lines))),
            np.zeros((ticks, len(self.lines)), bool),
        )
        for column, line in enumerate(self.lines):
            asked_c[ticks - len(line.setpoint_c) :, column] = line.setpoint_c
            begun[ticks - len(line.setpoint_c) :, column] = True
        return asked_c, begun


def published(heater: HeaterFile) -> dict[str, rules.Ideal]:
    """Return the gains of the three rules for an identified heater."""
    process = process_at(heater.physics(), WORKING_C)
    return {
        "Ziegler-Nichols": rules.ziegler_nichols_pid(ultimate(process)),
        "SIMC": rules.simc_pid(half_rule(process, 2, TICK_S)),
        # a weight of 0, as its book has it for steps, lags far behind a ramp
        "AMIGO": rules.amigo_pid(half_rule(process, 1, TICK_S))._replace(weight=1.0),
    }


def run_pid(job: Job, gains: Sequence[rules.Ideal], seed: int) -> Runs:
    """Run a PID with back-calculation on every heater; `gains` one for each."""
    kc, ti_s, td_s, weight = (np.array(column) for column in zip(*gains, strict=True))
    lag_s = np.maximum(td_s / FILTER_N, TICK_S)
    back_s = np.sqrt(ti_s * np.maximum(td_s, TICK_S))  # tracking time: Astrom and Hagglund's choice
    batch = Batch(job.kind, job.heaters)
    integral = np.zeros(len(gains))
    seen_c = smooth_c = batch.reading_c
    see = _Converter(len(gains), seed)
    asked_c, begun = job.setpoints()
    read_c, powers = np.empty_like(asked_c), np.empty_like(asked_c)
    for tick, (wanted_c, on) in enumerate(zip(asked_c, begun, strict=True)):
        moved_c = (seen_c - smooth_c) * TICK_S / (lag_s + TICK_S)
        smooth_c = smooth_c + moved_c
        asked = kc * (weight * wanted_c - seen_c - td_s * moved_c / TICK_S) + integral
        power = np.where(on, np.clip(asked, 0.0, 1.0), 0.0)
        change = kc / ti_s * (wanted_c - seen_c) + (power - asked) / back_s
        integral = np.where(on, integral + TICK_S * change, kc * (1 - weight) * seen_c)
        powers[tick] = power
        seen_c = see(batch.reading_c)
        read_c[tick] = batch.step(power)
    return Runs(read_c, powers)


def run_library(job: Job, gains: Sequence[rules.Ideal], seed: int) -> Runs:
    """Run the general-purpose library's controller on every heater."""
    controllers = [
        PID(
            one.kc, one.kc / one.ti_s, one.kc * one.td_s, sample_time=None,
            output_limits=(0.0, 1.0), differential_on_measurement=True,
        )
        for one in gains
    ]  # fmt: skip
    batch = Batch(job.kind, job.heaters)
    see, seen_c = _Converter(len(gains), seed), batch.reading_c
    asked_c, begun = job.setpoints()
    read_c, powers = np.empty_like(asked_c), np.zeros_like(asked_c)
    for tick in range(len(asked_c)):
        for column in np.flatnonzero(begun[tick]):
            controllers[column].setpoint = asked_c[tick, column]
            powers[tick, column] = controllers[column](seen_c[column], dt=TICK_S)
        seen_c = see(batch.reading_c)
        read_c[tick] = batch.step(powers[tick])
    return Runs(read_c, powers)


def library_gains(kind: str, line: Timeline, first: rules.Ideal, room: Mismatch) -> rules.Ideal:
    """Return the best of the grid around a rule's gains on the nominal heater."""
    tried = [
        rules.Ideal(first.kc * kc, first.ti_s * ti, first.td_s * td)
        for kc in GRID["kc"] for ti in GRID["ti_s"] for td in GRID["td_s"]
    ]  # fmt: skip
    job = Job(kind, [room] * len(tried), [line] * len(tried))
    off_c = run_library(job, tried, 1).reading_c - line.setpoint_c[:, None]
    return tried[int(np.argmin((off_c**2).mean(axis=0)))]


class _Converter:
    """What a controller is given: noise, steps of the converter."""

    def __init__(self, heaters: int, seed: int) -> None:
        self._chance, self._heaters = np.random.default_rng(seed), heaters

    def __call__(self, bead_c: np.ndarray) -> np.ndarray:
        noisy_c = bead_c + self._chance.normal(0.0, BenchParameters.noise_c, self._heaters)
        return np.round(noisy_c / CONVERTER_C) * CONVERTER_C
