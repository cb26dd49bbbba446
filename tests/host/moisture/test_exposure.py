"""The log of opened parts: hours counted as on a stopwatch, lines refused with place and mend."""

from datetime import UTC, datetime, timedelta

import pytest

from emberbed.moisture.exposure import (
    COLUMNS,
    Event,
    LogFault,
    add_event,
    event_of,
    read_log,
    standing_of,
    standings,
)

START = datetime(2026, 11, 1, 8, tzinfo=UTC)


def at(hours):
    return START + timedelta(hours=hours)


def event(after_h, kind, level="3", **bake):
    return Event(at(after_h), "U5", kind, level, 1.2, **bake)


def test_hours_in_the_room_count_and_dry_ones_do_not():
    # by hand: 10 h out, 100 h dry, 5 h out
    log = [event(0, "opened"), event(10, "dry"), event(110, "out")]
    standing = standing_of(log, at(115))
    assert standing.used_h == 15 and standing.left_h == 168 - 15 and standing.out_now
    assert standing_of(log[:2], at(1000)).used_h == 10


def test_a_clock_that_runs_is_not_started_again():
    assert standing_of([event(0, "opened"), event(5, "out")], at(20)).used_h == 20


def test_a_bake_of_the_tables_time_sets_it_to_zero():
    # J-STD-033 table 4-1: 7 h at 125 degC for level 3 up to 1.4 mm within its floor life and 72 h,
    # 9 h for a saturated one (eesemi.com/baketables.htm)
    log = [event(0, "opened"), event(100, "baked", oven_c=125, hours=7)]
    assert standing_of(log, at(110)).used_h == 0
    short = [event(0, "opened"), event(100, "baked", oven_c=125, hours=6.9)]
    standing = standing_of(short, at(110))
    assert standing.used_h == 100 and "the table asks for 7 h" in standing.notes[0]
    late = [event(0, "opened"), event(168 + 73, "baked", oven_c=125, hours=8)]
    assert "the table asks for 9 h" in standing_of(late, at(300)).notes[0]


def test_a_bake_between_the_columns_counts_by_the_colder_one():
    log = [event(0, "opened"), event(100, "baked", oven_c=110, hours=22)]
    assert standing_of(log, at(101)).used_h == 100  # the column for 90 degC: 23 h
    assert standing_of([log[0], event(100, "baked", oven_c=110, hours=23)], at(101)).used_h == 0


def test_a_bake_that_is_no_number_counts_nothing():
    log = [event(0, "opened"), event(100, "baked", oven_c=125, hours=float("nan"))]
    assert standing_of(log, at(101)).used_h == 100


@pytest.mark.parametrize(
    ("level", "hours", "said"),
    [
        ("1", 9999, "no end"),
        ("6", 1, "bake it before use"),
        ("3", 169, "is over by 1 h; bake it before any heat"),
        ("3", 100, "100 h of 168 h used, 68 h left"),
    ],
)
def test_what_is_told(level, hours, said):
    assert said in standing_of([event(0, "opened", level)], at(hours)).sentence()


def test_a_log_is_read_as_it_was_written(tmp_path):
    path = tmp_path / "log.csv"
    lines = [event(0, "opened"), event(10, "dry"), event(20, "baked", oven_c=125.0, hours=9.0)]
    for one in lines:
        add_event(path, one)
    assert read_log(path) == lines
    assert [one.used_h for one in standings(read_log(path), at(30))] == [0]
    assert path.read_text(encoding="utf-8").splitlines()[0] == ",".join(COLUMNS)


def test_a_part_begins_with_its_bag(tmp_path):
    with pytest.raises(LogFault, match="begin with opened"):
        add_event(tmp_path / "log.csv", event(0, "dry"))
    assert not (tmp_path / "log.csv").exists()


def test_time_does_not_run_backwards(tmp_path):
    add_event(tmp_path / "log.csv", event(10, "opened"))
    with pytest.raises(LogFault, match="write a later time"):
        add_event(tmp_path / "log.csv", event(9, "dry"))


GOOD_LINE = "2026-11-01T08:00:00Z,U5,opened,3,1.2,,"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a,b\n", ":1: the columns are not"),
        (f"{','.join(COLUMNS)}\n2026,U5\n", ":2: "),
        (f"{','.join(COLUMNS)}\n{GOOD_LINE.replace('opened', 'lost')}\n", '"lost" is no event'),
        (f"{','.join(COLUMNS)}\n{GOOD_LINE.replace(',3,', ',9,')}\n", "is no moisture level"),
        (
            f"{','.join(COLUMNS)}\n{GOOD_LINE}\n{GOOD_LINE.replace('2026', '2025')}\n",
            ":3: this is earlier",
        ),
    ],
)
def test_a_bad_log_is_told_with_its_line(tmp_path, text, said):
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(LogFault) as fault:
        read_log(path)
    assert said in str(fault.value) and str(path) in str(fault.value)


def test_level_and_thickness_are_asked_for_once():
    log = [event(0, "opened")]
    assert event_of(log, "U5", "dry", None, None, None, None, at(1)) == event(1, "dry")
    with pytest.raises(LogFault, match="say what it is with --level"):
        event_of(log, "U6", "opened", None, None, None, None, at(1))
    with pytest.raises(LogFault, match="only a bake has"):
        event_of(log, "U5", "baked", None, None, None, 9, at(1))
    with pytest.raises(LogFault, match="is no event"):
        event_of(log, "U5", "lost", None, None, None, None, at(1))
    with pytest.raises(LogFault, match="is no bake"):
        event_of(log, "U5", "baked", None, None, 125, float("nan"), at(1))
    with pytest.raises(LogFault, match="visible characters"):
        event_of(log, "a\x1b", "opened", "3", 1.0, None, None, at(1))
