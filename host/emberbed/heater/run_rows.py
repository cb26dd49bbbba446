"""What a stored step test measured, as rows that can be fitted.

Takes the records themselves: ten a second, on even rows of ROW_S. The drive of a row is the part of
its time in which the heater really was on, its temperature the mean of the readings around it.
"""

import numpy as np

from emberbed.heater.csv_reader import TableMistake
from emberbed.heater.step_data import SWITCHED, Measured
from emberbed.heater.step_test import SECOND_HEATING
from emberbed.store.elapsed import with_elapsed_s
from emberbed.store.meaning import channel_names_of, description_of, plan_of
from emberbed.store.run_store import RunStore
from emberbed_fw.units import NO_READING_CDEG

ROW_S = 2.0


def measured_run(store: RunStore, run_id: int) -> tuple[Measured, float]:
    """Return the rows of a run, and when its second heating began; the control sensor speaks.

    Raises TableMistake where the run lacks either.
    """
    run = store.run(run_id)
    plan = plan_of(run)
    if plan is None:
        raise TableMistake(f"run {run_id}: its plan cannot be read; update emberbed")
    channel = plan.header["control0"]
    records = [
        (elapsed_s, record.driven_zones & 1, getattr(record, f"channel{channel}_cdeg"),
         record.stage)
        for elapsed_s, record in with_elapsed_s(store.records(run_id))
    ]  # fmt: skip
    if not records:
        raise TableMistake(f"run {run_id} holds no records; start the step test again")
    seconds, driven, cdeg, stages = (
        np.array(column, float) for column in zip(*records, strict=True)
    )
    again = np.flatnonzero(stages == SECOND_HEATING)
    if not len(again):
        raise TableMistake(f"run {run_id} has no second heating, so nothing can be foretold of it")
    rows_s, drive, celsius = even_rows(seconds, driven, cdeg)
    measured = Measured(
        f"run {run_id}",
        run.head_sha256,
        SWITCHED,
        "driven",
        f"{channel_names_of(run)[channel]}_c",
        rows_s,
        drive,
        celsius,
        np.arange(1, len(rows_s) + 1),
        np.zeros(len(rows_s)),
    )
    return measured, float(seconds[again[0]])


def configured_watts(store: RunStore, run_id: int) -> float | None:
    """Return what the device says its heater takes at full power, None where it does not."""
    description = description_of(store.run(run_id))
    return float(description.zones[0].watts) if description and description.zones[0].watts else None


def even_rows(
    seconds: np.ndarray, driven: np.ndarray, cdeg: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return (seconds, drive until the next row, degrees C); rows without a reading are left out
    and their drive goes to the row before."""
    read = cdeg != NO_READING_CDEG
    ends_s = seconds[0] + ROW_S * np.arange(int((seconds[-1] - seconds[0]) / ROW_S) + 1)
    nearest = np.round((seconds[read] - seconds[0]) / ROW_S).astype(int)
    size = nearest.max(initial=0) + 2
    count = np.bincount(nearest, minlength=size)[: len(ends_s)]
    total = np.bincount(nearest, cdeg[read] / 100, size)[: len(ends_s)]
    kept = np.flatnonzero(count > 0)
    rows_s = ends_s[: len(count)][kept]
    on_s = np.concatenate([[0.0], np.cumsum(driven[:-1] * np.diff(seconds))])
    share = np.diff(np.interp(rows_s, seconds, on_s)) / np.diff(rows_s)
    return rows_s, np.concatenate([share, [0.0]]), total[kept] / count[kept]
