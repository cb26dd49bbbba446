"""Whether measured rows can tell anything of a heater; if not, one sentence with the mend.

The limits stand in one table below. Only the rows whose fit is scored must show heat and its answer
and no fan; gaps and a stuck sensor are looked for in all rows whose numbers count.
"""

import numpy as np

from emberbed.heater.csv_reader import TableMistake
from emberbed.heater.step_data import PERCENT, SWITCHED, WATTS, Measured
from emberbed.plain_text import printable

# name, value, unit, why; common practice, no source, unless said otherwise
LIMITS = (
    ("LEAST_ROWS", 30, "rows", "ten numbers are fitted"),
    ("GAP", 3.5, "usual spacings", "what the heater did meanwhile is not known"),
    ("LEAST_DRIVE_CHANGE", 0.05, "of full drive", "a heater answers to changes only"),
    ("LEAST_RISE_C", 5.0, "degC", "twice the tolerance of a plain type K thermocouple"),
    ("LOWEST_C", -40.0, "degC", "colder than any bench"),
    ("HIGHEST_C", 600.0, "degC", "hotter than any board"),
    ("STUCK_ROWS", 5, "rows", "a coarse converter repeats a value now and then"),
    ("STUCK_STEPS", 16, "converter steps", "twice what the flat top of a smooth curve hides"),
)
(LEAST_ROWS, GAP, LEAST_DRIVE_CHANGE, LEAST_RISE_C, LOWEST_C, HIGHEST_C, STUCK_ROWS,
 STUCK_STEPS) = (row[1] for row in LIMITS)  # fmt: skip
_BEFORE = 5  # rows whose slope is compared with the stillness after them


def full_drive(measured: Measured, watts: float | None, given: float | None) -> float:
    """Return the drive at full power: given, by its kind, or the highest there is."""
    highest = float(measured.drive.max())
    by_kind = {PERCENT: 100.0, SWITCHED: 1.0, WATTS: watts}
    full = next((one for one in (given, by_kind.get(measured.kind)) if one is not None), highest)
    if highest > full * 1.001:
        at = int(measured.drive.argmax())
        raise TableMistake(
            f"{_place(measured, at)} {measured.drive_column} is {highest:g} and full power is"
            f" {full:g}; give the larger one with --{'watts' if full == watts else 'full-drive'}"
        )
    return full


def check_measured(measured: Measured, fit_until_s: float | None) -> None:
    """Raise TableMistake for the first reason why these rows cannot be fitted."""
    _check_rows(measured)
    _check_time(measured)
    _check_range(measured)
    seen = measured.until(fit_until_s)
    if len(seen.seconds) < LEAST_ROWS:
        raise TableMistake(
            f"{printable(measured.name)}: only {len(seen.seconds)} rows lie before --fit-until"
            f" {fit_until_s:g}; the file runs from {measured.seconds[0]:g} to"
            f" {measured.seconds[-1]:g} s and {LEAST_ROWS} rows are needed"
        )
    _check_fan(seen)
    _check_drive(seen)
    _check_answer(seen)
    _check_stuck(measured.without_fan())


def _place(measured: Measured, row: int) -> str:
    return f"{printable(measured.name)}:{measured.lines[row]}:"


def _check_rows(measured: Measured) -> None:
    if len(measured.seconds) < LEAST_ROWS:
        raise TableMistake(
            f"{printable(measured.name)}: there are {len(measured.seconds)} rows and"
            f" {LEAST_ROWS} are needed; record a whole heating and cooling"
        )


def _check_time(measured: Measured) -> None:
    spacing = np.diff(measured.seconds)
    if (spacing <= 0).any():
        row = int(np.argmax(spacing <= 0)) + 1
        raise TableMistake(
            f"{_place(measured, row)} the time goes from {measured.seconds[row - 1]:g} to"
            f" {measured.seconds[row]:g} s; sort the rows by time, each time once"
        )
    usual = float(np.median(spacing))
    if spacing.max() > GAP * usual:
        row = int(spacing.argmax()) + 1
        raise TableMistake(
            f"{_place(measured, row)} the time jumps from {measured.seconds[row - 1]:g} to"
            f" {measured.seconds[row]:g} s where rows come every {usual:g} s; keep the rows on one"
            " side of this gap"
        )


def _check_range(measured: Measured) -> None:
    outside = (measured.temperature_c < LOWEST_C) | (measured.temperature_c > HIGHEST_C)
    if outside.any():
        row = int(outside.argmax())
        raise TableMistake(
            f"{_place(measured, row)} {measured.temperature_column} is"
            f" {measured.temperature_c[row]:g}, and {LOWEST_C:g} to {HIGHEST_C:g} °C is believed;"
            " write degrees Celsius and leave open sensors out"
        )
    if (measured.drive < 0).any():
        row = int((measured.drive < 0).argmax())
        raise TableMistake(
            f"{_place(measured, row)} {measured.drive_column} is {measured.drive[row]:g}; a heater"
            " takes 0 or more"
        )


def _check_fan(seen: Measured) -> None:
    blows = seen.fan != 0
    if blows.any():
        row = int(blows.argmax())
        raise TableMistake(
            f"{_place(seen, row)} the fan blows from {seen.seconds[row]:g} s on, and a heater is"
            f" fitted without one; use the rows before it with --fit-until {seen.seconds[row]:g}"
        )


def _check_drive(seen: Measured) -> None:
    highest = float(seen.drive.max())
    if np.ptp(seen.drive) <= LEAST_DRIVE_CHANGE * highest:
        raise TableMistake(
            f"{printable(seen.name)}: {seen.drive_column} stays at {seen.drive[0]:g} in the rows to"
            " be fitted, so nothing tells what heat does; record a step up and a step down"
        )


def _check_answer(seen: Measured) -> None:
    moved_c = float(np.ptp(seen.temperature_c))
    if moved_c < LEAST_RISE_C:
        raise TableMistake(
            f"{printable(seen.name)}: {seen.temperature_column} moves by {moved_c:.2g} °C while the"
            " heat changes; look whether the sensor is stuck or off the board, and heat further"
        )


def _check_stuck(seen: Measured) -> None:
    """Find a reading that stands exactly still right after moving: clipped, or not renewed."""
    celsius = seen.temperature_c
    steps = np.abs(np.diff(celsius))
    quantum_c = float(steps[steps > 0].min())
    for first, last in _still(celsius):
        rows = last - first + 1
        if rows < STUCK_ROWS or first < _BEFORE:
            continue
        slope = (celsius[first] - celsius[first - _BEFORE]) / _BEFORE
        if abs(slope) * rows > STUCK_STEPS * quantum_c and abs(slope) * rows > LEAST_RISE_C:
            raise TableMistake(
                f"{_place(seen, first)} {seen.temperature_column} stands at exactly"
                f" {celsius[first]:g} °C for {rows} rows right after moving; the sensor is at the"
                " end of its range or stuck: mend it, or leave these rows and all after them out"
            )


def _still(celsius: np.ndarray) -> list[tuple[int, int]]:
    """Return (first, last) row of every stretch of one value."""
    moves = np.flatnonzero(np.diff(celsius) != 0).tolist()
    return list(zip([0, *(row + 1 for row in moves)], [*moves, len(celsius) - 1], strict=True))
