"""Write a run as CSV (RFC 4180): one row per tick, the unit in each column's name.

Temperatures `_c` in degrees C, times `_s` in s, power in percent of a zone, energy in J. A field
without a value is empty. Numbers are plain numbers; text that a spreadsheet could take for a
formula gets an apostrophe in front. Open the stream with newline="".
"""

import csv
from collections.abc import Callable, Mapping
from typing import TextIO

from emberbed import words
from emberbed.profiles.compile import Plan
from emberbed.records import TickRecord
from emberbed.store.elapsed import with_elapsed_s
from emberbed.store.meaning import channel_names_of, plan_of
from emberbed.store.run_store import RunStore
from emberbed.touch_words import mark_name, source_name, touch_name
from emberbed_fw import record as layout
from emberbed_fw import run_states
from emberbed_fw.units import FULL_POWER_Q15, NO_READING_CDEG, NONE

# OWASP ASVS 1.2.10 names = + - @ tab and NUL; carriage return is ours
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\0")

Column = Callable[[TickRecord], str]


def write_csv(store: RunStore, run_id: int, stream: TextIO) -> None:
    """Write run `run_id` of `store` to `stream`."""
    run = store.run(run_id)
    columns = _columns(plan_of(run), channel_names_of(run))
    names = list(columns)
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow([_safe(name) for name in ["tick", "elapsed_s", *names]])
    for elapsed_s, record in with_elapsed_s(store.records(run_id)):
        row = [str(record.tick), f"{elapsed_s:.3f}"]
        writer.writerow(row + [columns[name](record) for name in names])


def _columns(plan: Plan | None, channels: Mapping[int, str]) -> dict[str, Column]:
    kinds = [words.stage_words(stage["kind"]) for stage in plan.stages] if plan else []
    columns: dict[str, Column] = {
        "state": lambda record: _name_at(run_states.STATE_NAMES, record.state),
        "stage": lambda record: "" if record.stage == NONE else str(record.stage + 1),
        "stage_kind": lambda record: _name_at(kinds, record.stage),
        "waits_for": lambda record: words.wait_name(record.waits_for),
        "setpoint_c": lambda record: _degrees(record.setpoint_cdeg),
    }
    for channel, name in channels.items():
        columns[f"{name}_c"] = _channel_column(channel)
    return columns | {
        "demand_percent": lambda record: f"{100 * record.demand0_q15 / FULL_POWER_Q15:.3f}",
        "driven": lambda record: _flag(record.driven_zones & 1),
        "contactor": lambda record: _flag(record.outputs & layout.OUT_CONTACTOR),
        "fan": lambda record: _flag(record.outputs & layout.OUT_FAN),
        "energy_j": lambda record: str(record.energy_j),
        "trip": lambda record: words.trip_name(record.trip),
        "touch": lambda record: touch_name(record.touch),
        "touch_source": lambda record: source_name(record.touch_source),
        "mark": lambda record: mark_name(record.mark),
        "offset_c": lambda record: _degrees(record.offset_cdeg),
    }


def _channel_column(channel: int) -> Column:
    return lambda record: _degrees(getattr(record, f"channel{channel}_cdeg"))


def _name_at(names: tuple[str, ...] | list[str], number: int) -> str:
    return names[number] if number < len(names) else ""


def _degrees(cdeg: int) -> str:
    return "" if cdeg == NO_READING_CDEG else f"{cdeg / 100:.2f}"


def _flag(bits: int) -> str:
    return "1" if bits else "0"


def _safe(text: str) -> str:
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text
