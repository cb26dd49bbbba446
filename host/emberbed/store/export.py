"""Write a run as a file for other programs: CSV (RFC 4180), JSON (an array of rows), Parquet.

A field without a value is empty in CSV and null elsewhere. Numbers are plain numbers everywhere;
text that a spreadsheet could take for a formula gets an apostrophe in front in CSV. Parquet needs
pyarrow, which comes with `emberbed[parquet]`.
"""

import csv
import importlib.util
import json
from itertools import islice
from pathlib import Path
from typing import TextIO

from emberbed.store.run_store import RunStore
from emberbed.store.table import TEXT, Cell, Column, Table, table_of

# OWASP ASVS 1.2.10 names = + - @ tab and NUL; carriage return is ours
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\0")
ROWS_AT_ONCE = 20_000  # in Parquet's row groups: half an hour

CSV, JSON, PARQUET = "csv", "json", "parquet"
FORMS = (CSV, JSON, PARQUET)
NO_PARQUET = "Parquet needs one more library: pip install 'emberbed[parquet]'"


def write_csv(store: RunStore, run_id: int, stream: TextIO) -> None:
    """Write run `run_id` of `store` to `stream`, which was opened with newline=""."""
    table = table_of(store, run_id)
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow([formula_safe(column.name) for column in table.columns])
    for row in table.rows:
        writer.writerow([_told(*pair) for pair in zip(table.columns, row, strict=True)])


def write_json(store: RunStore, run_id: int, stream: TextIO) -> None:
    """Write the same as one array, a row on each line."""
    table = table_of(store, run_id)
    names = [column.name for column in table.columns]
    decimals = [column.decimals for column in table.columns]
    before = "[\n"
    for row in table.rows:
        cells = zip(names, decimals, row, strict=True)
        stream.write(before + json.dumps({name: _rounded(cell, n) for name, n, cell in cells}))
        before = ",\n"
    stream.write("[]\n" if before == "[\n" else "\n]\n")


def can_write_parquet() -> bool:
    return importlib.util.find_spec("pyarrow") is not None


def write_parquet(store: RunStore, run_id: int, path: Path) -> None:
    """Write the same as a Parquet file at `path`. Raises OSError."""
    import pyarrow as arrow
    from pyarrow import parquet

    table = table_of(store, run_id)
    kinds = {TEXT: arrow.string(), 0: arrow.int64()}
    schema = arrow.schema(
        [(column.name, kinds.get(column.decimals, arrow.float64())) for column in table.columns]
    )
    with parquet.ParquetWriter(path, schema) as writer:
        while columns := _next_columns(table):
            arrays = [
                arrow.array(cells, field.type) for cells, field in zip(columns, schema, strict=True)
            ]
            writer.write_batch(arrow.record_batch(arrays, schema=schema))


def _next_columns(table: Table) -> list[list[Cell]]:
    rows = list(islice(table.rows, ROWS_AT_ONCE))
    return [
        [_rounded(cell, column.decimals) for cell in cells]
        for column, cells in zip(table.columns, zip(*rows, strict=True), strict=bool(rows))
    ]


def _told(column: Column, cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return formula_safe(cell)
    return f"{cell:.{column.decimals}f}"


def _rounded(cell: Cell, decimals: int) -> Cell:
    """Return a number as CSV tells it, so that every file says the same."""
    return round(cell, decimals) if isinstance(cell, float) else cell


def formula_safe(text: str) -> str:
    """Return text so that no spreadsheet takes it for a formula."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text
