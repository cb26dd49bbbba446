"""What a tuning says: one table for people, the same figures as JSON, one picture."""

from collections.abc import Iterator

import numpy as np

from emberbed.heater.default_gains import Gains
from emberbed.heater.device_gains import TICK_S
from emberbed.heater.firmware_trial import MASSES, MOST_TIMES, FirmwareTrial, worst
from emberbed.heater.heater_file import HeaterFile
from emberbed.heater.lag_note import lag_note
from emberbed.heater.ramp_trial import HOLD_S, RAMP_C
from emberbed.heater.tune import MOST_MS, Candidate, Tuning
from emberbed.report.chart_model import Chart, Curve

Columns = tuple[tuple[str, int], ...]
POOR_FIT_PERCENT = 90.0  # common practice, no source: below it a model is no base for gains
_COLUMNS = (
    ("", 27), ("Kp, 1/K", 9), ("Ki, 1/K s", 10), ("Kd, s/K", 9), ("Ms", 8), ("gain m.", 8),
    ("phase m.", 9),
)  # fmt: skip
_ON_THE_MODEL = (("over, °C", 9), ("IAE, °C s", 10))
_IN_FIRMWARE = (("over, °C", 9), ("ramp, °C", 9), ("hold, °C", 9), ("cost, °C", 9))
MOST_CURVES = 8  # what a reader can still tell apart


def as_json(heater: HeaterFile, tuning: Tuning) -> dict[str, object]:
    """Return everything for scripts; an infinite figure is null."""
    return {
        "heater": heater.source.file,
        "working_c": list(tuning.working_c),
        "chosen": tuning.best.rule,
        "heaters_tried": 0 if tuning.trial is None else len(tuning.trial.situations),
        "gains": tuning.best.gains._asdict(),
        "device": _integers(tuning.best.gains),
        "candidates": [_candidate_json(one) for one in tuning.candidates],
    }


def as_lines(heater: HeaterFile, tuning: Tuning) -> list[str]:
    """Return the table and what is to be known of it."""
    best = tuning.best
    lines = [*_head(heater, tuning), ""]
    columns = (*_COLUMNS, *(_IN_FIRMWARE if tuning.trial else _ON_THE_MODEL))
    lines.append(_row(tuple(head for head, _width in columns), columns))
    lines += [_row(_cells(one, one is best, tuning), columns) for one in tuning.candidates]
    lines += ["", *_notes(tuning), *_advice(heater, best)]
    return lines


def chart(tuning: Tuning) -> Chart:
    """Return a curve for each of the first rules and the chosen one.

    With a trial: its job in the firmware on the identified heater; else the ramp on the model to
    the middle working temperature.
    """
    if tuning.trial is not None:
        return _firmware_chart(tuning, tuning.trial)
    middle = len(tuning.working_c) // 2
    trial, at_c = tuning.trials[middle], tuning.working_c[middle]
    chosen = tuning.candidates.index(tuning.best)
    return Chart(
        measured=[
            Curve(one.rule, trial.seconds, trial.board_c[:, n])
            for n, one in enumerate(tuning.candidates[:MOST_CURVES])
        ],
        asked=Curve("asked for", trial.seconds, trial.setpoint_c),
        power=Curve("power", trial.seconds, 100 * trial.power[:, chosen]),
        title=f"A ramp to {at_c:g} °C with each rule; power of {tuning.best.rule}",
    )


def _firmware_chart(tuning: Tuning, trial: FirmwareTrial) -> Chart:
    from emberbed.heater.rehearse_gains import run_job  # the simulation: only for a trial

    best = tuning.best
    shown = [*[one for one in tuning.candidates if one.in_firmware][: MOST_CURVES - 1], best]
    here, made_for = trial.situations[0], trial.situations[0].values if trial.planned else None
    courses = {one.rule: run_job(here, trial.job, one.gains, made_for=made_for) for one in shown}
    chosen = courses[best.rule]
    # all curves end together, so that each has its name beside its end
    rows = min(len(course.power) for course in courses.values() if course.finished)
    seconds = TICK_S * np.arange(rows)
    levels = " and ".join(f"{level_c:g}" for level_c in trial.job.levels_c)
    return Chart(
        measured=[Curve(rule, seconds, course.board_c[:rows]) for rule, course in courses.items()],
        asked=Curve("asked for", seconds, chosen.setpoint_c[:rows]),
        power=Curve("power", seconds, 100 * chosen.power[:rows]),
        title=f"Holds at {levels} °C with each rule; setpoint and power of {best.rule}",
    )


def _head(heater: HeaterFile, tuning: Tuning) -> list[str]:
    at = " and ".join(f"{at_c:g}" for at_c in tuning.working_c)
    margins = f"{heater.source.file}: gains for work at {at} °C; margins are the worst of these."
    if tuning.trial is None:
        return [
            margins,
            f"Trial: a ramp of {RAMP_C:g} °C and {HOLD_S / 60:g} min of hold, nothing fed forward.",
        ]
    job = tuning.trial.job
    levels = " and ".join(f"{level_c:g}" for level_c in job.levels_c)
    return [
        margins,
        f"Trial in the firmware: from cold to {levels} °C, on this heater and"
        f" {len(tuning.trial.situations) - 1} as likely ones with mains 10 % low and high"
        f"{_boards(tuning.trial)}; worst overshoot, mean error in ramps and holds, cost.",
    ]


def _boards(trial: FirmwareTrial) -> str:
    if not trial.planned:
        return ""
    boards = " and ".join(f"{mass:g}" for mass in MASSES)
    return f" and boards of {boards} times the mass, power planned for this one"


def _row(cells: tuple[str, ...], columns: Columns) -> str:
    (_head, first), *others = columns
    rest = zip(cells[1:], others, strict=True)
    return f"{cells[0]:{first}s}" + "".join(f"{cell:>{width}s}" for cell, (_head, width) in rest)


def _cells(one: Candidate, chosen: bool, tuning: Tuning) -> tuple[str, ...]:
    gains = one.gains
    return (
        f"{one.rule}{' *' if chosen else ''}",
        f"{gains.kp_per_k:.4f}",
        f"{gains.ki_per_k_s:.6f}",
        f"{gains.kd_s_per_k:.3f}",
        _figure(one.margins.ms, ".2f") if one.margins.stable else "swings",
        _figure(one.margins.gain, ".2f"),
        _figure(one.margins.phase_deg, ".0f") + "°",
        *(_tried_cells(one) if tuning.trial else _model_cells(one)),
    )


def _model_cells(one: Candidate) -> tuple[str, ...]:
    return f"{one.overshoot_c:.1f}", f"{one.iae_c_s:.0f}"


def _tried_cells(one: Candidate) -> tuple[str, ...]:
    if not one.in_firmware:
        return ("-",) * len(_IN_FIRMWARE)
    if _no_end(one):
        return ("-",) * (len(_IN_FIRMWARE) - 1) + ("no end",)
    found = worst(one.in_firmware)
    figures = f"{found.overshoot_c:.1f}", f"{found.ramp_c:.2f}", f"{found.hold_c:.2f}"
    return (*figures, f"{found.cost_c:.2f}")


def _figure(value: float, form: str) -> str:
    return "∞" if value == float("inf") else f"{value:{form}}"


def _notes(tuning: Tuning) -> Iterator[str]:
    for one in tuning.candidates:
        if one.refusal is not None:
            yield f"The device does not take {one.rule}: {one.refusal}."
    endless = [one.rule for one in tuning.candidates if one.in_firmware and _no_end(one)]
    if endless:
        yield (
            f"No end within {MOST_TIMES:g} times the planned time: {', '.join(endless)}. What does"
            " not come to the end on this heater is tried no further."
        )
    slow = lag_note(tuning)
    if slow is not None:
        yield slow


def _advice(heater: HeaterFile, best: Candidate) -> Iterator[str]:
    integers = _integers(best.gains)
    held = ", ".join(f"{name} = {integer}" for name, integer in integers.items())
    yield f"Chosen (*): {best.rule}; the device holds {held}."
    if best.margins.ms > MOST_MS:
        yield (
            f"Its Ms of {_figure(best.margins.ms, '.2f')} is more than {MOST_MS:g}: this heater is"
            " hard to control by these rules; watch the first run closely."
        )
    if heater.fit.percent_fitted < POOR_FIT_PERCENT:
        yield (
            f"The heater file fits its own data by only {heater.fit.percent_fitted:.0f} %: identify"
            " the heater again before you trust these figures."
        )


def _integers(gains: Gains) -> dict[str, int]:
    return {"kp_q8": gains.kp_q8(), "ki_q14": gains.ki_q14(), "kd_q4": gains.kd_q4()}


def _candidate_json(one: Candidate) -> dict[str, object]:
    return {
        "rule": one.rule,
        "gains": one.gains._asdict(),
        "device": _integers(one.gains),
        "ms": _finite(one.margins.ms),
        "gain_margin": _finite(one.margins.gain),
        "phase_margin_deg": _finite(one.margins.phase_deg),
        "stable": one.margins.stable,
        "overshoot_c": round(one.overshoot_c, 3),
        "iae_c_s": round(one.iae_c_s, 1),
        "refusal": one.refusal,
        "may_be_chosen": one.offered,
        "in_firmware": _in_firmware_json(one),
    }


def _in_firmware_json(one: Candidate) -> dict[str, float | None] | None:
    if not one.in_firmware:
        return None
    figures = worst(one.in_firmware)._asdict().items()
    # without an end the other figures are of one run only
    return {f"worst_{name}": None if _no_end(one) else _finite(n) for name, n in figures}


def _no_end(one: Candidate) -> bool:
    return worst(one.in_firmware).cost_c == float("inf")


def _finite(value: float) -> float | None:
    return None if abs(value) == float("inf") else round(value, 4)
