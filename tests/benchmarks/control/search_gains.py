"""`python -m tests.benchmarks.control.search_gains KIND`: the trim's gains, over many heaters.

Works on the identified heater's own equations, made heavier, weaker, colder; the plan stays the
nominal one, only its room is known. A float copy of the firmware's law, in steps of DT_S, several
gains and heaters at once; scipy's differential evolution. Each heater counts by its error over that
of its plan, and by its overshoot. The gains are printed, and tried in the firmware before they go
into a file.
"""

import sys
from dataclasses import dataclass

import numpy as np
from scipy.optimize import differential_evolution

from emberbed.heater.heat_model import HeatModel, at_rest, heater_of
from emberbed.heater.model_parameters import ZERO_C_K
from emberbed.limit.feedforward import course_of
from tests.benchmarks.control.heaters import NOMINAL, Mismatch
from tests.benchmarks.control.jobs import FEASIBLE, profile_of, timeline
from tests.benchmarks.control.ours import heater_file

DT_S = 0.5
NOISE_C = 0.045  # of a step, as 0.1 degC of a tick averages out
HEATERS = (
    NOMINAL, Mismatch(mass=0.7), Mismatch(mass=1.3), Mismatch(mains=0.9), Mismatch(mains=1.1),
    Mismatch(emissivity=0.8), Mismatch(room_c=12), Mismatch(sensor_lag=2.0), Mismatch(1.3, 0.95),
    Mismatch(0.7, 1.1, 1.2, 33, 0.6), Mismatch(0.8, 0.92, 0.85, 12, 1.5),
    Mismatch(1.2, 1.08, 1.1, 33, 0.7),
)  # fmt: skip
# logarithms of Kp /K, Ki /K/s, Kd s/K, filter shift (its own value)
BOUNDS = ((-4.6, 0.4), (-11.5, -4.8), (-3.0, 2.9), (2.0, 7.0))
GENERATIONS, PEOPLE = 40, 7
LEAST_C = 0.3  # of a plan's error: below it the converter's steps are all there is
OVERSHOOT_C = 0.8


@dataclass(frozen=True)
class Case:
    """What all heaters of a kind are asked for, [step, heater], aligned at the end."""

    asked_c: np.ndarray
    foretold_c: np.ndarray
    power: np.ndarray
    holds: np.ndarray
    begun: np.ndarray
    least_c: np.ndarray  # error of each heater's plan


def case_of(kind: str) -> Case:
    """Plan for every room; pad what begins later."""
    values, profile = heater_file(kind).values, profile_of(FEASIBLE[kind])
    columns, least_c = [], []
    for one in HEATERS:
        line, best = timeline(profile, one.room_c), course_of(values, profile, one.room_c, 1.0)
        every = round(DT_S * 10)
        seconds = line.seconds[every - 1 :: every]
        optimum = best.optimum
        columns.append(
            (
                line.setpoint_c[every - 1 :: every],
                np.interp(seconds, optimum.seconds, optimum.reading_c),
                np.interp(seconds, optimum.seconds - best.line.step_s / 2, optimum.power),
                line.hold[every - 1 :: every],
                np.ones(len(seconds)),
            )
        )
        least_c.append(max(optimum.rmse_c, LEAST_C))
    longest = max(len(column[0]) for column in columns)
    padded = (
        np.stack([np.pad(column[n], (longest - len(column[n]), 0)) for column in columns], axis=1)
        for n in range(5)
    )
    return Case(*padded, least_c=np.array(least_c))


def cost(logs: np.ndarray, kind: str, case: Case) -> float:
    """Return what gains cost on all heaters."""
    kp, ki, kd = np.exp(logs[:3])
    filter_s = 0.1 * 2.0 ** round(logs[3])
    model, full = _mismatched(kind)
    read_c = seen_c = smooth_c = model.warmth.sensor_k - ZERO_C_K
    integral, off = np.zeros(len(HEATERS)), np.zeros_like(case.asked_c)
    noise = np.random.default_rng(1).normal(0, NOISE_C, case.asked_c.shape)
    slopes = np.gradient(case.foretold_c, DT_S, axis=0)
    for step, on in enumerate(case.begun > 0):
        seen_c = read_c + noise[step]
        moved_c = (seen_c - smooth_c) * min(DT_S / filter_s, 1.0)
        smooth_c = smooth_c + moved_c
        error_c = case.foretold_c[step] - seen_c
        asked = case.power[step] + kp * error_c + integral + kd * (slopes[step] - moved_c / DT_S)
        power = np.where(on, np.clip(asked, 0.0, 1.0), 0.0)
        winds = (asked - power) * error_c > 0
        integral = np.where(on & ~winds, integral + ki * DT_S * error_c, integral)
        model.step(power * full)
        read_c = model.warmth.sensor_k - ZERO_C_K
        off[step] = np.where(on, read_c - case.asked_c[step], 0.0)
    rmse = np.sqrt((off**2).sum(axis=0) / case.begun.sum(axis=0)) / case.least_c
    over_c = np.maximum(np.where(case.holds > 0, off, 0).max(axis=0) - OVERSHOOT_C, 0)
    whole = np.median(rmse) + 0.5 * rmse.mean() + 0.3 * rmse.max() + 0.5 * rmse[0]
    whole += 0.3 * over_c.mean() + 0.2 * over_c.max() + 0.5 * over_c[0]
    return float(whole) if np.isfinite(whole) else 1e9


def _mismatched(kind: str) -> tuple[HeatModel, np.ndarray]:
    """Return the identified heater as each of HEATERS, and its full power."""
    columns = {name: np.full(len(HEATERS), one) for name, one in heater_file(kind).values.items()}
    for number, one in enumerate(HEATERS):
        columns["board_capacity_s_per_k"][number] *= one.mass
        columns["board_lag_s"][number] *= one.mass
        columns["emitter_share"][number] *= one.emissivity**0.7  # emitters then get hotter
        columns["sensor_lag_s"][number] += 1.5 * (one.sensor_lag - 1)
        columns["room_c"][number] = one.room_c
    heater = heater_of(columns)
    return HeatModel(heater, at_rest(heater), DT_S), np.array([one.mains**2 for one in HEATERS])


def main(kind: str) -> None:
    case = case_of(kind)
    found = differential_evolution(
        cost, BOUNDS, (kind, case), maxiter=GENERATIONS, popsize=PEOPLE, seed=1, polish=False
    )
    kp, ki, kd = np.exp(found.x[:3])
    gains = f"Kp {kp:.3g}, Ki {ki:.3g}, Kd {kd:.3g}, shift {round(found.x[3])}"
    print(f"{kind}: {gains}, cost {found.fun:.2f}")


if __name__ == "__main__":
    main(sys.argv[1])
