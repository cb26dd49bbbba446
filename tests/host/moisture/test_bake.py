"""Floor life and bake times as the published tables say, and between their columns."""

import pytest

from emberbed.moisture.bake import bake_time, between
from emberbed.moisture.tables import NoSuchRow, floor_life, level_of


@pytest.mark.parametrize(
    ("level", "hours", "status"),
    # eesemi.com/msl.htm: 1 year, 4 weeks, 168 h; levels 4 to 6 of J-STD-020 from memory
    [("1", None, "confirmed"), ("2", 365 * 24, "confirmed"), ("2a", 4 * 168, "confirmed"),
     ("3", 168, "confirmed"), ("4", 72, "from memory"), ("5", 48, "from memory"),
     ("5a", 24, "from memory"), ("6", 0, "from memory")],
)  # fmt: skip
def test_floor_life(level, hours, status):
    assert (floor_life(level).hours, floor_life(level).status) == (hours, status)


# J-STD-033 table 4-1 (first issue and A) via eesemi.com/baketables.htm: hours, days x 24
TABLE = [
    (1.4, "2a", (5, 3), (17, 11), (8 * 24, 5 * 24)),
    (1.4, "3", (9, 7), (33, 23), (13 * 24, 9 * 24)),
    (1.4, "4", (11, 7), (37, 23), (15 * 24, 9 * 24)),
    (1.4, "5", (12, 7), (41, 24), (17 * 24, 10 * 24)),
    (1.4, "5a", (16, 10), (54, 24), (22 * 24, 10 * 24)),
    (2.0, "2a", (21, 16), (3 * 24, 2 * 24), (29 * 24, 22 * 24)),
    (2.0, "3", (27, 17), (4 * 24, 2 * 24), (37 * 24, 23 * 24)),
    (2.0, "4", (34, 20), (5 * 24, 3 * 24), (47 * 24, 28 * 24)),
    (2.0, "5", (40, 25), (6 * 24, 4 * 24), (57 * 24, 35 * 24)),
]


@pytest.mark.parametrize(("thickness_mm", "level", "hot", "warm", "cool"), TABLE)
def test_the_table_itself(thickness_mm, level, hot, warm, cool):
    for oven_c, cells in ((125, hot), (90, warm), (40, cool)):
        for saturated, hours in zip((True, False), cells, strict=True):
            found = bake_time(level, thickness_mm, oven_c, saturated)
            assert (found.hours, found.sure_hours, found.between_c) == (hours, hours, None)
            assert found.row.status == "confirmed"


def test_rows_that_were_not_read_again_say_so():
    assert bake_time("5a", 1.8, 125, True).row.status == "from memory"
    assert bake_time("3", 3.0, 125, True).row.status == "from memory"
    assert (bake_time("3", 3.0, 125, True).hours, bake_time("3", 3.0, 40, True).hours) == (48, 1896)


def test_a_thickness_between_rows_has_the_thicker_one():
    assert bake_time("3", 0.8, 125, True).hours == 9
    assert bake_time("3", 1.41, 125, True).hours == 27


@pytest.mark.parametrize(("oven_c", "factor"), [(110, 1.65), (100, 2.36)])
def test_between_columns_as_the_tables_own_activation_energy_says(oven_c, factor):
    # the bake table implies 0.43 to 0.46 eV; time over that at 125 degC at 0.44 eV, computed
    found = bake_time("3", 1.2, oven_c, True)
    assert found.hours == pytest.approx(9 * factor, rel=0.06)
    assert found.sure_hours == 33 and found.between_c == (90, 125)
    assert 9 < found.hours < 33


def test_between_goes_through_both_ends():
    assert between(90, (90, 33), (125, 9)) == pytest.approx(33)
    assert between(125, (90, 33), (125, 9)) == pytest.approx(9)


def test_the_sure_side_is_told_first():
    sure, drawn = bake_time("3", 1.2, 110, True).sentences()
    assert "33 h at 110 °C to be sure" in sure and "errs on the long side" in sure
    assert "15.3 h" in drawn and "may be too short" in drawn


def test_large_arrays_bake_longer():
    # J-STD-033 table 4-1, from memory: 96 h at 125 degC beyond 17 x 17 mm, else as the table
    assert bake_time("3", 1.2, 125, True, large=True).hours == 96
    assert bake_time("3", 1.2, 90, True, large=True).hours == 33
    assert bake_time("3", 1.2, 110, True, large=True).hours == 96  # never shorter than its ends


@pytest.mark.parametrize(
    ("level", "thickness_mm", "oven_c", "said"),
    [
        ("3", 4.6, 125, "ends at 4.5 mm"),
        ("3", float("nan"), 125, "is not in the bake table"),
        ("3", -1, 125, "is not in the bake table"),
        ("1", 1, 125, "needs none"),
        ("6", 1, 125, "as its label says"),
        ("3", 1, 126, "goes from 40 to 125"),
        ("3", 1, 39.9, "goes from 40 to 125"),
        ("3", 1, float("nan"), "goes from 40 to 125"),
    ],
)
def test_what_the_table_does_not_have_is_refused(level, thickness_mm, oven_c, said):
    with pytest.raises(NoSuchRow, match=said):
        bake_time(level, thickness_mm, oven_c, True)


def test_levels_as_people_write_them():
    assert [level_of(one) for one in ("MSL 3", "msl5A", " 2a ", "MSL-4")] == ["3", "5a", "2a", "4"]
    with pytest.raises(NoSuchRow, match="the levels on the bag are 1, 2, 2a"):
        level_of("7")
