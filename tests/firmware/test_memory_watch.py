"""Every bit of what a run lives by: one that flips is found, none that does not."""

import random

import pytest

from emberbed_fw.memory_watch import NUMBERS_A_TICK, MemoryWatch
from emberbed_fw.plan import HEADER_FIELDS, HeaderRow, Plan
from emberbed_fw.settings import Settings
from emberbed_fw.units import CHANNELS
from tests.support.bench import short_plan
from tests.support.plans import bench_settings


def tables():
    return [[1, 2, 3], [], list(range(1000, 1000 + 3 * NUMBERS_A_TICK)), [-5, 0, 1 << 29]]


def limits():
    return [[6000 + channel for channel in range(CHANNELS)] for _ in range(3)]


def ticks_of(rows):
    """Return in how many ticks every table has been seen: each has ticks of its own."""
    return sum(-(-len(row) // NUMBERS_A_TICK) for row in rows)


def found_after(watch, most=400):
    for tick in range(1, most):
        watch.step()
        if watch.changed:
            return tick
    return None


@pytest.mark.check("C35", proves="quiet")
def test_what_does_not_change_is_quiet():
    assert NUMBERS_A_TICK == 17  # the whole of the longest profile in half a minute
    assert found_after(MemoryWatch(tables(), limits())) is None


def test_every_bit_of_every_number_counts():
    rows = tables()
    watch = MemoryWatch(rows, limits())
    for row in rows:
        for at in range(len(row)):
            for bit in range(30):
                row[at] ^= 1 << bit
                watch.forget()
                assert found_after(watch, 100) == ticks_of(rows), (at, bit)
                row[at] ^= 1 << bit
    watch.forget()
    assert found_after(watch) is None


@pytest.mark.parametrize("seed", range(50))
def test_numbers_that_change_places_are_found(seed):
    dice = random.Random(seed)
    rows = tables()
    watch = MemoryWatch(rows, [])
    one, other = dice.sample(range(len(rows[2])), 2)
    rows[2][one], rows[2][other] = rows[2][other], rows[2][one]
    assert found_after(watch) == ticks_of(rows)
    assert watch.changed == 1


@pytest.mark.parametrize("row", range(3))
@pytest.mark.parametrize("channel", range(CHANNELS))
def test_every_limit_is_seen_within_a_second(row, channel):
    held = limits()
    watch = MemoryWatch(tables(), held)
    held[row][channel] ^= 1 << 12
    assert found_after(watch) == channel + 1
    held[row][channel] ^= 1 << 12
    watch.step()
    assert watch.changed == 1, "it latches"
    watch.forget()
    assert found_after(watch) is None


def test_a_change_while_the_sum_is_being_made_is_found_in_the_next_round():
    rows = tables()
    watch = MemoryWatch(rows, [])
    watch.step()
    rows[0][0] += 1
    assert found_after(watch) == 2 * ticks_of(rows) - 1


def test_forgetting_begins_with_the_first_table_and_channel():
    held = limits()
    watch = MemoryWatch(tables(), held)
    watch.step()
    watch.step()
    watch.forget()
    held[0][0] += 1
    assert found_after(watch) == 1


# What a real plan and a real device give it.


def test_whole_plan_and_description_are_in_it():
    plan = Plan(short_plan())
    settings = Settings(bench_settings())
    rows = plan.tables() + settings.tables()
    numbers = sum(len(row) for row in rows)
    assert numbers >= len(HEADER_FIELDS) + plan.stages * 16 + 8 * CHANNELS
    watch = MemoryWatch(rows, [plan.limit_cdeg])
    plan.header["emitter_j_per_k"] += 1
    assert found_after(watch, 1000) is not None


def test_every_row_of_a_description_is_in_it():
    for row in range(len(Settings(bench_settings()).tables())):
        settings = Settings(bench_settings())
        watch = MemoryWatch(settings.tables(), [])
        settings.tables()[row][0] ^= 64
        assert found_after(watch, 1000) is not None, row


def test_the_socket_s_watts_are_a_row_of_it():
    settings = Settings(bench_settings(socket_watts=2300))
    assert [2300] in settings.tables()


def test_a_header_is_a_row_in_the_layout_s_order():
    plan = Plan(short_plan())
    row = HeaderRow(plan.header)
    assert [row[at] for at in range(len(row))] == [plan.header[name] for name, _ in HEADER_FIELDS]
