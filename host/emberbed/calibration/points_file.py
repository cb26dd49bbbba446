"""Points that were measured by hand: a table with the columns point and read_c.

`point` is ice, boiling, the name of a solder with one melting point, or the °C that a reference
thermometer showed; `read_c` what the device showed for it. Raises NotReady, naming file and line.
"""

from pathlib import Path

from emberbed.bench.prepare import NotReady
from emberbed.calibration.fixed_points import (
    BOILING,
    ICE,
    LEAST_METER_C,
    MOST_METER_C,
    Reference,
    ice,
    melting,
    metered,
)
from emberbed.calibration.line import Point
from emberbed.calibration.measure import Couple
from emberbed.text_table import TableMistake, TextTable

COLUMNS = ("point", "read_c")
SUCH = "point,read_c"
MOST_BYTES = 1 << 20
MOST_POINTS = 20


def read_points(path: Path, couple: Couple, boiling: Reference | None) -> list[Point]:
    """Return the points of a file; `boiling` is None where nobody said how the air is."""
    try:
        return _points(TextTable(path, MOST_BYTES, SUCH), couple, boiling)
    except TableMistake as mistake:
        raise NotReady([str(mistake)]) from None


def _points(table: TextTable, couple: Couple, boiling: Reference | None) -> list[Point]:
    for name in COLUMNS:
        if table.names.count(name) != 1:
            raise TableMistake(f"{table.place}: there must be one column {name}; write {SUCH}")
    at = {name: table.names.index(name) for name in COLUMNS}
    points = []
    for place, fields in table.rows():
        shown_c = table.number(fields[at["read_c"]], "read_c", place)
        reference = _reference(fields[at["point"]], place, boiling)
        points.append(couple.point(reference, couple.held.read_of(shown_c)))
    if len(points) > MOST_POINTS:
        raise TableMistake(
            f"{table.shown}: there are {len(points)} points; give 2 to {MOST_POINTS}"
        )
    return points


def _reference(written: str, place: str, boiling: Reference | None) -> Reference:
    if written.casefold() == ICE:
        return ice()
    if written.casefold() == BOILING:
        if boiling is None:
            raise TableMistake(
                f"{place}: where water boils depends on the air; add --pressure or --altitude"
            )
        return boiling
    try:
        true_c = float(written)
    except ValueError:
        try:
            return melting(written)
        except NotReady as unknown:
            mend = unknown.sentences[0].removeprefix("--melt: ").removeprefix("--melt ")
            raise TableMistake(f"{place}: {mend}, or write {ICE}, {BOILING} or °C") from None
    if not LEAST_METER_C <= true_c <= MOST_METER_C:
        raise TableMistake(
            f"{place}: {true_c:g} °C is no point of a bench; write {LEAST_METER_C:g} to"
            f" {MOST_METER_C:g}"
        )
    return metered(true_c)
