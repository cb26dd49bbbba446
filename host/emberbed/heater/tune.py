"""Gains for an identified heater by the published rules, judged on that heater.

`candidates` takes a heater file and returns every set of gains with its margins and its trial;
`Tuning.best` picks one. A rule is applied near each working temperature and its most cautious
result is kept; margins are the worst over all of them, for the integers that the device will hold.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from emberbed.heater.default_gains import Gains
from emberbed.heater.device_gains import NYQUIST_RAD_S, device_loop, held, refusal
from emberbed.heater.firmware_trial import Figures, FirmwareTrial
from emberbed.heater.gain_designs import DESIGNS, Design
from emberbed.heater.heater_file import HeaterFile
from emberbed.heater.linear_model import process_at, steady_power
from emberbed.heater.margins import Margins, band, margins
from emberbed.heater.process import Process
from emberbed.heater.ramp_trial import HOLD_S, RAMP_C, Trial, ramp_trial

WORKING_C = (60.0, 120.0, 150.0)
MOST_STEADY = 0.9  # of full power: beyond it nothing is left to control with
MOST_MS = 1.7  # what the tight SIMC rule gives on an integrating process
NOT_TUNED = "not tuned"
SLOWER = np.geomspace(1.0, 1000.0, 46)  # times the delay: closed-loop lags that a rule may take


class CannotTune(Exception):
    """Why no gains can be found for a heater: one sentence."""


@dataclass(frozen=True)
class Candidate:
    """Gains of one rule, as the device holds them; figures are the worst of all temperatures."""

    rule: str
    gains: Gains
    margins: Margins
    overshoot_c: float
    iae_c_s: float
    refusal: str | None  # why the device does not take them
    offered: bool  # may be chosen; the others are there to compare with
    in_firmware: tuple[Figures, ...] = ()  # by situation of the tuning's trial, if it was tried

    @property
    def cost_c_s(self) -> float:
        """Return the trial's error; an overshoot counts as if it lasted for the whole hold."""
        return self.iae_c_s + HOLD_S * self.overshoot_c


@dataclass(frozen=True)
class Tuning:
    """What was found, and where; a trial has a column for each candidate of a published rule."""

    working_c: tuple[float, ...]
    processes: tuple[Process, ...]
    candidates: tuple[Candidate, ...]
    trials: tuple[Trial, ...]
    trial: FirmwareTrial | None = None  # where gains were refined; the last candidate is theirs

    @property
    def best(self) -> Candidate:
        """Return the refined one, else what follows a ramp best of those with enough margin."""
        if self.trial is not None:
            return self.candidates[-1]
        fit = [one for one in self.candidates if one.offered and one.refusal is None]
        calm = [one for one in fit if one.margins.ms <= MOST_MS]
        if calm:
            return min(calm, key=lambda one: one.cost_c_s)
        if not fit:
            raise CannotTune("no rule gives gains that the device takes; identify the heater again")
        return min(fit, key=lambda one: one.margins.ms)


def candidates(heater: HeaterFile) -> tuple[Candidate, ...]:
    """Return every candidate for a heater."""
    return tune(heater).candidates


def tune(heater: HeaterFile, designs: Sequence[Design] = DESIGNS) -> Tuning:
    """Return every candidate for a heater with its trials, the untuned default first.

    By the published rules alone; `tune_refined.refine` goes on from here.
    """
    physics = heater.physics()
    working_c = working_temperatures(heater)
    processes = tuple(process_at(physics, at_c) for at_c in working_c)
    wanted = [Gains(), *(_designed(design, processes) for design in designs)]
    left = [held(gains) for gains in wanted]
    trials = tuple(ramp_trial(physics, left, at_c) for at_c in working_c)
    overshoot_c = np.max([trial.overshoot_c for trial in trials], axis=0)
    iae_c_s = np.max([trial.iae_c_s for trial in trials], axis=0)
    names = [NOT_TUNED, *(design.name for design in designs)]
    offered = [False, *(design.offered for design in designs)]
    found = tuple(
        Candidate(
            names[n],
            left[n],
            worst_margins(processes, left[n]),
            float(overshoot_c[n]),
            float(iae_c_s[n]),
            refusal(wanted[n]),
            offered[n],
        )
        for n in range(len(wanted))
    )
    return Tuning(working_c, processes, found, trials)


def working_temperatures(heater: HeaterFile) -> tuple[float, ...]:
    """Return those of WORKING_C that the heater's data reach and its power holds.

    Where they reach none, the middle of the data stands in.
    """
    low_c, high_c = heater.fit.lowest_c, heater.fit.highest_c
    physics, room_c = heater.physics(), heater.values["room_c"]
    wanted = [at_c for at_c in WORKING_C if low_c <= at_c <= high_c] or [(low_c + high_c) / 2]
    found = tuple(
        at_c
        for at_c in wanted
        if at_c > room_c + RAMP_C and steady_power(physics, at_c) < MOST_STEADY
    )
    if not found:
        raise CannotTune(
            f"{' and '.join(f'{at_c:.0f}' for at_c in wanted)} °C cannot be worked at: too near the"
            " room, or more than the heater can hold; identify it on a run to 120 °C or more"
        )
    return found


def worst_margins(processes: Sequence[Process], gains: Gains) -> Margins:
    """Return the worst of each margin over these processes, with the device's controller."""
    found = [
        margins(device_loop(process, gains), band(process)[0], 0.99 * NYQUIST_RAD_S)
        for process in processes
    ]
    return Margins(
        max(one.ms for one in found),
        min(one.gain for one in found),
        min(one.phase_deg for one in found),
        all(one.stable for one in found),
    )


def _designed(design: Design, processes: Sequence[Process]) -> Gains:
    """Return a rule's gains: the tightest, or if that can be chosen the quickest that is calm."""
    tightest = _cautious(design, processes, 1.0)
    if not design.adjustable:
        return tightest
    for slower in SLOWER:
        gains = _cautious(design, processes, float(slower))
        if refusal(gains) is None and worst_margins(processes, held(gains)).ms <= MOST_MS:
            return gains
    return tightest


def _cautious(design: Design, processes: Sequence[Process], slower: float) -> Gains:
    """Apply a rule at each temperature; return the gains that are calmest at the worst one."""
    found = [design.gains(process, slower) for process in processes]
    held_ones = [gains for gains in found if refusal(gains) is None] or found
    return min(held_ones, key=lambda gains: worst_margins(processes, held(gains)).ms)
