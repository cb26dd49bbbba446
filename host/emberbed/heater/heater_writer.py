"""Write a heater file: the text of what was identified, and gains put into a file that exists."""

import json
import re
from collections.abc import Sequence
from datetime import UTC, datetime

from emberbed.heater.carried import Estimate, covariance, estimates
from emberbed.heater.default_gains import Gains
from emberbed.heater.heater_file import FORMAT, ZoneTable
from emberbed.heater.identify import Fitted
from emberbed.heater.model_parameters import BY_NAME
from emberbed.plain_text import printable

_GAINS_TABLE = re.compile(r"^\[gains\][^\n]*\n(?:(?!\[).*\n?)*", re.MULTILINE)
_HEAD = "# A heater as it was measured; heat is counted in parts of its full power."


def heater_text(
    fitted: Fitted, full_power_w: float | None, made: datetime, zones: ZoneTable | None = None
) -> str:
    """Return the whole file as text."""
    known = [one for one in estimates(fitted.whole) if one.name in BY_NAME]
    parts = [
        [f"format = {FORMAT}", f"made = {made.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"],
        _source(fitted),
        _scale(fitted, full_power_w),
        _fit(fitted),
        _parameters(known, fitted.whole_rows),
        _uncertainty(fitted, [one.name for one in known]),
        *([] if zones is None else [_zones(zones)]),
    ]
    return _HEAD + "\n" + "\n".join("\n".join(part) + "\n" for part in parts)


def with_gains(text: str, gains: Gains, rule: str) -> str:
    """Return a heater file's text with this table of gains, in place of any it had."""
    table = "\n".join(
        [
            "[gains]",
            f"rule = {_quoted(rule)}",
            *(f"{name} = {_number(number)}" for name, number in gains._asdict().items()),
        ]
    )
    kept = _GAINS_TABLE.sub("", text).rstrip("\n")
    return f"{kept}\n\n{table}\n"


def _source(fitted: Fitted) -> list[str]:
    measured = fitted.measured
    return [
        "[source]",
        f"file = {_quoted(measured.name)}",
        f"sha256 = {_quoted(measured.sha256)}",
        f"rows = {len(measured.seconds)}",
        f"fitted_rows = {fitted.fitted_rows}",
        f"drive = {_quoted(measured.drive_column)}",
        f"temperature = {_quoted(measured.temperature_column)}",
    ]


def _scale(fitted: Fitted, full_power_w: float | None) -> list[str]:
    watts = [] if full_power_w is None else [f"full_power_w = {_number(full_power_w)}"]
    return ["[scale]", f"full_drive = {_number(fitted.full_drive)}", *watts]


def _fit(fitted: Fitted) -> list[str]:
    used_c = fitted.measured.temperature_c[: fitted.whole_rows]
    unseen = fitted.percent_unseen
    scored = [] if unseen is None else [f"percent_unseen = {_number(unseen)}"]
    return [
        "[fit]  # of fitted_rows; percent_unseen: of those after them; lowest_c, highest_c: of all",
        f"percent_fitted = {_number(fitted.percent_fitted)}",
        *scored,
        f"rms_c = {_number(fitted.scored.noise.rms_c)}",
        f"correlation = {_number(fitted.scored.noise.correlation)}",
        f"start = {_quoted(fitted.whole.candidate.start)}",
        f"lowest_c = {_number(used_c.min())}",
        f"highest_c = {_number(used_c.max())}",
    ]


def _parameters(known: Sequence[Estimate], rows: int) -> list[str]:
    lines = [
        f"[parameters]  # from all {rows} rows without a fan; low to high: 95 %;"
        " not from_data: held by what is usual or allowed"
    ]
    for one in known:
        numbers = (f"{name} = {_number(getattr(one, name))}" for name in ("value", "low", "high"))
        table = f"{{ {', '.join(numbers)}, from_data = {str(one.from_data).lower()} }}"
        lines.append(f"{one.name} = {table}  # {one.unit}: {one.says}")
    return lines


def _uncertainty(fitted: Fitted, names: Sequence[str]) -> list[str]:
    chosen = [fitted.whole.candidate.names.index(name) for name in names]
    rows = covariance(fitted.whole)[chosen][:, chosen]
    return [
        "[uncertainty]  # covariance of these, of logarithms but for drive_exponent and room_c",
        f"names = [{', '.join(_quoted(name) for name in names)}]",
        "covariance = [",
        *(f"    [{', '.join(f'{float(number):.6e}' for number in row)}]," for row in rows),
        "]",
    ]


def _zones(zones: ZoneTable) -> list[str]:
    rows = (", ".join(_number(one) for one in row) for row in zones.rise_k_per_s)
    return [
        "[zones]  # what each zone at full power does to each sensor: a row a sensor, K/s",
        f"watts = {list(zones.watts)}",
        f"sensors = [{', '.join(_quoted(name) for name in zones.sensors)}]",
        "rise_k_per_s = [",
        *(f"    [{row}]," for row in rows),
        "]",
        f"rms_c = {_number(zones.rms_c)}",
    ]


def _quoted(text: str) -> str:
    return json.dumps(printable(text, 200), ensure_ascii=False)


def _number(number: float) -> str:
    return str(number) if isinstance(number, int) else repr(float(f"{number:.7g}"))
