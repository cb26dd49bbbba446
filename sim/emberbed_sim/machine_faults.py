"""What the catalogue's rows for the device do inside the firmware: flipped bits, broken steps.

Works on a machine in this process. A bit that flips is picked by the event's amount as the number
of a random draw, so that the same number flips the same bit of the same machine. A step that is
skipped does not check in either, as if the processor had jumped over it.
"""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from random import Random
from typing import Any

from emberbed_fw.snapshot import restore_snapshot, take_snapshot
from emberbed_fw.tick import Machine
from emberbed_sim.faults import FaultEvent
from emberbed_sim.plant.happenings import Happening

# By the amount of tick_raises and step_skipped: the part of the machine and its step.
STEPS = (
    ("readings", "update"),
    ("life", "step"),
    ("", "_control"),
    ("guard", "judge"),
    ("signals", "outputs"),
)
GUARD = ("guard", "judge")
BITS = 16  # of a number that may flip: twice the largest temperature
LIMIT_WORDS = ("limit", "ceiling")

Place = tuple[Any, Any]  # a table and the row of one number in it


class BrokenStepError(Exception):
    """Raised inside a tick, as a defect of the firmware would be."""


def flip_bit(machine: Machine, event: FaultEvent) -> str:
    """Flip the bit that this event picks; return where it was, "" where there is none to flip."""
    draw = Random(f"{event.name} {event.amount:g}")
    if event.name == "memory_bit_flips":
        return _flip_memory(machine, draw)
    named = {
        "plan_bit_flips": lambda: _numbers(machine.plan),
        "settings_bit_flips": lambda: _numbers(machine.settings),
        "limit_bit_flips": lambda: _limits(machine),
    }[event.name]()
    if not named:
        return ""
    name, (table, row) = draw.choice(named)
    number = table[row]
    flipped = int(number) ^ (1 if isinstance(number, bool) else 1 << draw.randrange(BITS))
    table[row] = flipped
    return f"{name}[{row}] {int(number)} -> {flipped}"


@contextmanager
def broken_steps(machine: Machine, now: Happening) -> Iterator[None]:
    """Let steps of the machine's tick fail, or be left out, as is the case now."""
    with ExitStack() as broken:
        for event in now.get("tick_raises", ()):
            broken.enter_context(_replaced(machine, int(event.amount), _raise))
        for event in now.get("step_skipped", ()):
            broken.enter_context(_skipped(machine, int(event.amount)))
        yield


def _raise(*_arguments: object) -> None:
    raise BrokenStepError("the firmware has stopped inside a tick")


@contextmanager
def _skipped(machine: Any, step: int) -> Iterator[None]:
    """Leave a step out; its check-in, the next one, does not happen either."""
    jumped = []
    check_in = machine._passed

    def skip(*_arguments: object) -> int:
        jumped.append(step)
        return machine._wanted_zones if STEPS[step] == GUARD else 0

    def pass_unless_jumped(number: int) -> None:
        if jumped:
            jumped.clear()
        else:
            check_in(number)

    machine._passed = pass_unless_jumped
    try:
        with _replaced(machine, step, skip):
            yield
    finally:
        del machine._passed


@contextmanager
def _replaced(machine: Machine, step: int, does: Callable[..., Any]) -> Iterator[None]:
    part_name, method = STEPS[step]
    part = getattr(machine, part_name) if part_name else machine
    setattr(part, method, does)
    try:
        yield
    finally:
        delattr(part, method)


def _flip_memory(machine: Machine, draw: Random) -> str:
    numbers = take_snapshot(machine)
    at = draw.randrange(len(numbers))
    before = numbers[at]
    numbers[at] = int(before) ^ 1 << draw.randrange(BITS)
    restore_snapshot(machine, numbers)
    return f"memory[{at}] {int(before)} -> {numbers[at]}"


def _limits(machine: Machine) -> list[tuple[str, Place]]:
    """Return the limits, by whoever holds them, of the channels that are fitted."""
    fitted = [channel for channel, kind in enumerate(machine.settings.converter) if kind]
    held = [machine.settings, machine.guard] + ([machine.plan] if machine.plan else [])
    return [
        (name, (table, channel))
        for part in held
        for name, table in vars(part).items()
        if isinstance(table, list) and any(word in name for word in LIMIT_WORDS)
        for channel in fitted
    ]


def _numbers(part: Any) -> list[tuple[str, Place]]:
    """Return every number in the tables of a plan or of settings."""
    if part is None:
        return []
    places = []
    for name, table in vars(part).items():
        for inner, column in _columns(name, table):
            rows = column.keys() if isinstance(column, dict) else range(len(column))
            places += [(inner, (column, row)) for row in rows]
    return places


def _columns(name: str, table: Any) -> list[tuple[str, Any]]:
    """Return the tables of plain numbers that this is or holds."""
    if isinstance(table, dict):
        if all(isinstance(number, int) for number in table.values()):
            return [(name, table)]
        return [(f"{name}.{key}", column) for key, column in table.items()]
    if isinstance(table, (bytes, int, str)) or not hasattr(table, "__setitem__"):
        return []
    whole = all(isinstance(number, int) for number in table)
    return [(name, table)] if whole else [(name, column) for column in table]
