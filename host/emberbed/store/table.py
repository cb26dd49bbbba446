"""A run as a table: one row per tick, the unit in each column's name, numbers as numbers.

Temperatures `_c` in degrees C, times `_s` in s, power in percent of a zone, energy in J; None where
a field has no value. The same columns go into every kind of file (export.py).
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from emberbed import words
from emberbed.profiles.compile import Plan
from emberbed.records import TickRecord
from emberbed.store.elapsed import Elapsed
from emberbed.store.meaning import channel_names_of, plan_of
from emberbed.store.run_store import RunStore
from emberbed.touch_words import mark_name, source_name, touch_name
from emberbed_fw import record as layout
from emberbed_fw import run_states
from emberbed_fw.units import FULL_POWER_Q15, NO_READING_CDEG, NONE

Cell = int | float | str | None
TEXT = -1  # instead of decimals


@dataclass(frozen=True)
class Column:
    """`decimals`: 0 for whole numbers, TEXT for words."""

    name: str
    decimals: int


@dataclass(frozen=True)
class Table:
    columns: tuple[Column, ...]
    rows: Iterator[tuple[Cell, ...]]


_Getter = Callable[[TickRecord], Cell]


def table_of(store: RunStore, run_id: int) -> Table:
    """Return run `run_id`; its rows are read as they are taken."""
    run = store.run(run_id)
    getters = _getters(plan_of(run), channel_names_of(run))
    columns = [Column("tick", 0), Column("elapsed_s", 3), *getters, Column("rebuilt", 0)]
    return Table(tuple(columns), _rows(store, run_id, list(getters.values())))


def _rows(store: RunStore, run_id: int, getters: list[_Getter]) -> Iterator[tuple[Cell, ...]]:
    elapsed = Elapsed()
    for record, rebuilt in store.marked_records(run_id):
        known = (getter(record) for getter in getters)
        yield (record.tick, elapsed.at(record), *known, int(rebuilt))


def _getters(plan: Plan | None, channels: Mapping[int, str]) -> dict[Column, _Getter]:
    kinds = [words.stage_words(stage["kind"]) for stage in plan.stages] if plan else []
    getters: dict[Column, _Getter] = {
        Column("state", TEXT): lambda record: _name_at(run_states.STATE_NAMES, record.state),
        Column("stage", 0): lambda record: None if record.stage == NONE else record.stage + 1,
        Column("stage_kind", TEXT): lambda record: _name_at(kinds, record.stage),
        Column("waits_for", TEXT): lambda record: words.wait_name(record.waits_for) or None,
        Column("setpoint_c", 2): lambda record: _degrees(record.setpoint_cdeg),
    }
    for channel, name in channels.items():
        getters[Column(f"{name}_c", 2)] = _channel_getter(channel)
    return getters | {
        Column("demand_percent", 3): lambda record: 100 * record.demand0_q15 / FULL_POWER_Q15,
        Column("driven", 0): lambda record: record.driven_zones & 1,
        Column("contactor", 0): lambda record: _flag(record.outputs & layout.OUT_CONTACTOR),
        Column("fan", 0): lambda record: _flag(record.outputs & layout.OUT_FAN),
        Column("energy_j", 0): lambda record: record.energy_j,
        Column("trip", TEXT): lambda record: words.trip_name(record.trip) or None,
        Column("touch", TEXT): lambda record: touch_name(record.touch) or None,
        Column("touch_source", TEXT): lambda record: source_name(record.touch_source) or None,
        Column("mark", TEXT): lambda record: mark_name(record.mark) or None,
        Column("offset_c", 2): lambda record: _degrees(record.offset_cdeg),
    }


def _channel_getter(channel: int) -> _Getter:
    return lambda record: _degrees(getattr(record, f"channel{channel}_cdeg"))


def _name_at(names: tuple[str, ...] | list[str], number: int) -> str | None:
    return names[number] if number < len(names) else None


def _degrees(cdeg: int) -> float | None:
    return None if cdeg == NO_READING_CDEG else cdeg / 100


def _flag(bits: int) -> int:
    return 1 if bits else 0
