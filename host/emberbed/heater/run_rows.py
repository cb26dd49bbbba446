"""What a stored step test measured, as rows that can be fitted.

Takes the records themselves: ten a second, on even rows of ROW_S. The drive of a row is the part of
its time in which the heater really was on, its temperature the mean of the readings around it.
"""

import numpy as np

from emberbed.heater.coupling import ZoneSteps
from emberbed.heater.csv_reader import TableMistake
from emberbed.heater.step_data import SWITCHED, Measured
from emberbed.heater.step_test import FIRST_ZONE, SECOND_HEATING
from emberbed.profiles.plan_bytes import Plan
from emberbed.store.elapsed import with_elapsed_s
from emberbed.store.meaning import channel_names_of, description_of, plan_of
from emberbed.store.run_store import RunStore
from emberbed_fw.units import NO_READING_CDEG, NONE

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
    until = zones_begin(stages, plan)
    rows_s, drive, celsius = even_rows(seconds[:until], driven[:until], cdeg[:until])
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
    return float(description.heater_watts) if description and description.heater_watts else None


def zones_begin(stages: np.ndarray, plan: Plan) -> int:
    """Return the record at which zones are heated alone, or how many there are: what all zones
    together do to the control sensor ends here."""
    if plan.header["control1"] == NONE:
        return len(stages)
    alone = np.flatnonzero(stages == FIRST_ZONE)
    return int(alone[0]) if len(alone) else len(stages)


def measured_zones(store: RunStore, run_id: int) -> tuple[ZoneSteps, list[int]] | None:
    """Return the rows of every zone and every sensor on the board up to the cooling, and the
    zones' watts; None where the heater has one zone. Raises TableMistake."""
    run = store.run(run_id)
    plan, description = plan_of(run), description_of(run)
    if plan is None or description is None or plan.header["control1"] == NONE:
        return None
    watts = description.zone_watts
    control = plan.header["control0"]
    channels = [control, *(one for one in plan.board_channels() if one != control)]
    last = len(plan.stages) - 1
    records = [
        (elapsed_s, *(record.driven_zones >> zone & 1 for zone in range(len(watts))),
         *(getattr(record, f"channel{channel}_cdeg") for channel in channels))
        for elapsed_s, record in with_elapsed_s(store.records(run_id)) if record.stage < last
    ]  # fmt: skip
    if not records:
        raise TableMistake(f"run {run_id} holds no records; start the step test again")
    columns = np.array(records, float)
    first = columns[:, len(watts) + 1]
    seconds, zones = columns[:, 0], columns[:, 1 : len(watts) + 1]
    drives = [even_rows(seconds, driven, first)[1] for driven in zones.T]
    names = channel_names_of(run)
    read = {
        names[channel]: even_rows(seconds, zones[:, 0], cdeg)
        for channel, cdeg in zip(channels, columns[:, len(watts) + 1 :].T, strict=True)
    }
    rows_s = next(iter(read.values()))[0]
    celsius = [np.interp(rows_s, own_s, own_c) for own_s, _drive, own_c in read.values()]
    return ZoneSteps(rows_s, np.array(drives).T, np.array(celsius).T, tuple(read)), watts


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
