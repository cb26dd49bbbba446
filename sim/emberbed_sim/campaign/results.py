"""One line of the campaign's file for each run, and the file: Parquet, whole at any moment.

The file is written anew beside the old one and takes its place: disk full, a lost connection or
an interruption leave the last whole file, with every result that had come by then.
"""

from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from emberbed_sim.campaign.outcomes import Outcome
from emberbed_sim.campaign.table import Cell

NAME = "results.parquet"
GROWN = 1.1  # the file is written again when it has grown by this share
LEAST_NEW = 200


@dataclass(frozen=True)
class Result:
    """One run. `part` of the campaign it belongs to: cell, healthy, pair or bug."""

    part: str
    row: str  # fault with its amount, or what else is counted together
    phase: str
    setup: str
    seed: int
    expect: str
    miss: str  # "" = as it should be
    found: str
    found_s: float | None
    heat_off_s: float | None
    peak_c: float | None
    target_c: float
    over_limit_k: float
    asks: int
    simulated_s: float
    heated: bool


def result_of(cell: Cell, seed: int, outcome: Outcome, miss: str) -> Result:
    """Return the line of one cell's run."""
    return Result(
        "cell", cell.row, cell.phase, str(cell.setup), seed, cell.expect, miss, outcome.found,
        outcome.found_s, outcome.heat_off_s, outcome.peak_c, outcome.target_c,
        outcome.over_limit_k, outcome.asks, outcome.simulated_s, outcome.heated,
    )  # fmt: skip


def failed(part: str, cell: Cell, seed: int, why: str) -> Result:
    """Return the line of a run that could not be done: a miss."""
    return Result(
        part, cell.row, cell.phase, str(cell.setup), seed, cell.expect, why, "", None, None, None,
        0.0, 0.0, 0, 0.0, False,
    )  # fmt: skip


class ResultFile:
    """Collects results; `add` writes when enough have come, `write` at once. Raises OSError."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / NAME
        self.results: list[Result] = []
        self.written = 0
        self.write()

    def add(self, results: list[Result]) -> None:
        self.results += results
        if len(self.results) >= max(self.written * GROWN, self.written + LEAST_NEW):
            self.write()

    def write(self) -> None:
        """Put a file with all results in place of the last one."""
        packed = _packed(self.results)
        beside = self.path.with_suffix(".part")
        try:
            beside.write_bytes(packed)
            beside.replace(self.path)
        finally:
            beside.unlink(missing_ok=True)
        self.written = len(self.results)


def _packed(results: list[Result]) -> Any:
    """Return the bytes of a Parquet file."""
    import pyarrow  # an extra: only where a campaign is kept
    from pyarrow import parquet

    kinds = {str: pyarrow.string(), int: pyarrow.int64(), bool: pyarrow.bool_()}
    schema = pyarrow.schema(
        [(field.name, kinds.get(field.type, pyarrow.float64())) for field in fields(Result)]
    )
    rows = [asdict(result) for result in results]
    stream = pyarrow.BufferOutputStream()
    parquet.write_table(pyarrow.Table.from_pylist(rows, schema), stream, compression="zstd")
    return stream.getvalue()
