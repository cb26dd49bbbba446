"""Calibrations and budgets as lines for a person and as plain data for scripts."""

from collections.abc import Mapping, Sequence
from typing import Any

from emberbed.calibration.budget import COVERAGE, Budget
from emberbed.calibration.fixed_points import Reference
from emberbed.calibration.guided import Calibrated
from emberbed.calibration.history import Entry
from emberbed.calibration.known import Known
from emberbed.calibration.on_device import unknown_words
from emberbed.device_description import DeviceDescription

WATER_C = 110.0  # no point of boiling water is hotter


def calibrated_json(done: Calibrated) -> dict[str, Any]:
    """Return a new calibration, units in the keys."""
    entry, line = done.entry, done.entry.line
    return {
        "sensor": entry.name,
        "channel": entry.channel,
        "when_utc": entry.when_utc,
        "points": [
            {
                "point": one.name,
                "true_c": round(one.true_c, 3),
                "read_c": round(one.read_c, 3),
                "standard_k": round(one.standard_k, 4),
            }
            for one in entry.points
        ],
        "offset_c": line.offset_k,
        "gain": round(line.gain, 6),
        "residual_c": round(line.residual_k, 4),
        "check_c": None if entry.check_k is None else round(entry.check_k, 4),
        "written": done.written,
    }


def calibrated_lines(done: Calibrated, references: Sequence[Reference]) -> list[str]:
    """Return what was measured, the line, and what it is worth."""
    entry, line = done.entry, done.entry.line
    told = {one.name: one.told for one in references}
    lines = [
        f"{told.get(one.name, one.name)}: {one.true_c:.2f} °C, read {one.read_c:.2f} °C before"
        " calibration"
        for one in entry.points
    ]
    lines.append(
        f"{entry.name}: reading x {line.gain:.4f} {line.offset_k:+.2f} °C, residual"
        f" {line.residual_k:.2f} °C"
    )
    if entry.check_k is not None:
        lines.append(f"Read again in the water: {entry.check_k:+.2f} °C off.")
    if not done.written:
        return [*lines, "Nothing was written."]
    lines.append("The device holds it now.")
    if max(one.true_c for one in entry.points) < WATER_C:
        lines.append(
            "Points up to boiling water do not prove 150 to 250 °C: emberbed sensor budget"
            f" {entry.name} --at 230 tells what is left."
        )
    return lines


def standing_json(
    description: DeviceDescription, found: Mapping[int, Entry | None], now_utc: str
) -> list[dict[str, Any]]:
    """Return each couple's calibration: none, unknown (not in the history) or known."""
    rows = []
    for number, name in _couples(description).items():
        entry = found.get(number)
        state = "known" if entry else "unknown" if number in found else "none"
        row: dict[str, Any] = {"channel": number, "name": name, "calibration": state}
        if entry is not None:
            known = entry.known()
            row |= {"when_utc": entry.when_utc, "by": entry.by, "old": known.is_old(now_utc)}
            row["residual_c"] = round(known.residual_k, 3)
        rows.append(row)
    return rows


def standing_lines(description: DeviceDescription, found: Mapping[int, Entry | None]) -> list[str]:
    """Return each couple's calibration in a sentence."""
    return [
        known_words(name, number in found, entry.known() if (entry := found.get(number)) else None)
        for number, name in _couples(description).items()
    ]


def known_words(name: str, is_set: bool, known: Known | None) -> str:
    """Say what is known of a couple's calibration; `is_set`: the device holds one."""
    if known is not None:
        return known.sentence()
    if is_set:
        return unknown_words(name)
    return f"{name} was not calibrated: emberbed sensor calibrate {name} does it."


def budget_json(name: str, made: Budget, known: Known | None) -> dict[str, Any]:
    """Return a budget, units in the keys."""
    return {
        "sensor": name,
        "reading_c": made.celsius,
        "calibrated": known.day if known else None,
        "standard_k": {term.name: round(term.standard_k, 4) for term in made.terms},
        "combined_k": round(made.standard_k, 4),
        "coverage": COVERAGE,
        "expanded_k": round(made.expanded_k, 4),
    }


def budget_lines(name: str, made: Budget) -> list[str]:
    """Return a line for each source, their sum, and the uncertainty in a sentence."""
    lines = [f"{term.standard_k:7.2f} °C  {term.name}" for term in made.terms]
    lines.append(f"{made.standard_k:7.2f} °C  all together, as squares")
    lines.append(
        f"{name} at {made.celsius:g} °C: ± {made.expanded_k:.1f} °C (expanded uncertainty, k ="
        f" {COVERAGE}, about 95 %; GUM)"
    )
    return lines


def _couples(description: DeviceDescription) -> dict[int, str]:
    names = description.fitted_names()
    return {n: name for n, name in names.items() if description.channels[n].has_couple}
