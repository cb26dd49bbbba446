"""The curve of eighth blocks: heights, axes, squeezing, and that it never changes its size."""

import pytest

from emberbed.bench.block_curve import AXIS, BLOCKS, DOT, LEGEND, block_curve


def rows_of(drawn):
    return drawn.split("\n")


@pytest.mark.parametrize(
    "samples",
    [
        [],
        [(2500, None)],
        [(None, None)] * 50,
        [(2500, 3000)] * 2,
        [(n * 10, None) for n in range(500)],
        [(None, 9000)] * 30,
    ],
)
def test_it_has_always_the_same_number_of_lines(samples):
    assert len(rows_of(block_curve(samples, 60, 6))) == 7


def test_it_keeps_to_its_columns():
    for count in (2, 59, 60, 61, 1000):
        drawn = block_curve([(n, n + 100) for n in range(count)], 60, 5)
        assert max(map(len, rows_of(drawn))) <= 60 + AXIS


def test_a_ramp_rises_from_the_lowest_to_the_highest_block():
    samples = [(2000 + 100 * n, None) for n in range(41)]  # 20 to 60 °C
    drawn = rows_of(block_curve(samples, 41, 4))
    assert drawn[0].startswith("   60 °C ")
    assert drawn[3].startswith("   20 °C ")
    assert drawn[3][AXIS] == BLOCKS[1]
    assert drawn[0][AXIS + 40] == BLOCKS[8]
    heights = [sum(BLOCKS.index(row.ljust(60)[AXIS + n]) for row in drawn[:4]) for n in range(41)]
    assert heights == sorted(heights)


def test_a_flat_run_is_no_mountain():
    drawn = rows_of(block_curve([(2500 + n % 2 * 10, None) for n in range(20)], 20, 4))
    assert set(drawn[3][AXIS:]) == {BLOCKS[1]}
    assert drawn[0].startswith("   65 °C ")


def test_what_was_asked_is_dotted_above_and_never_hides_the_measured():
    drawn = rows_of(block_curve([(2000, 6000)] * 10, 20, 4))
    assert drawn[0][AXIS:] == DOT * 10
    assert drawn[3][AXIS:] == BLOCKS[1] * 10
    covered = block_curve([(2000, None), (6000, 2000)], 20, 4)
    assert DOT not in covered


def test_a_missing_reading_leaves_a_hole():
    drawn = rows_of(block_curve([(2000, None), (None, None), (2000, None)], 20, 3))
    assert drawn[2][AXIS:] == f"{BLOCKS[1]} {BLOCKS[1]}"


def test_a_long_run_is_squeezed_with_its_newest_reading_last():
    samples = [(2000, None)] * 999 + [(9000, None)]
    drawn = rows_of(block_curve(samples, 50, 4))
    assert drawn[0][AXIS + 49] == BLOCKS[8]
    assert drawn[0][AXIS : AXIS + 49].strip() == ""


def test_the_time_runs_from_its_beginning_to_now():
    drawn = rows_of(block_curve([(2000, None)] * 40, 60, 3, began_s=65))
    assert drawn[-1].split()[0] == "1:05" and drawn[-1].endswith("1:45")
    assert len(drawn[-1]) == AXIS + 40
    narrow = rows_of(block_curve([(2000, None)] * 40, 20, 3, began_s=65))
    assert narrow[-1] == " " * AXIS + "1:05" + "1:45".rjust(16)
    early = rows_of(block_curve([(2000, None)] * 3, 60, 3, began_s=65))
    assert early[-1].split()[0] == "1:05"


@pytest.mark.parametrize("count", [2, 13, 14, 20, 30, 40, 60, 900])
def test_the_signs_are_explained_once_as_long_as_there_is_room(count):
    drawn = block_curve([(2000 + n, 9000) for n in range(count)], 62, 4)
    assert drawn.count(LEGEND) == 1
    assert rows_of(drawn)[-1].count(LEGEND) == 1
    assert max(map(len, rows_of(drawn))) <= 62 + AXIS
    assert LEGEND not in block_curve([(2000, 9000)] * count, 20, 4)
