"""What is kept of a calibration: the history's lines, the record's sentence, its age."""

from dataclasses import replace

import pytest

from emberbed.calibration import history
from emberbed.calibration.history import Entry
from emberbed.calibration.known import At, Known, read_sentence
from emberbed.calibration.line import Line, Point
from emberbed.device_description import Channel
from emberbed.store.faults import StoreError

POINTS = (Point("ice", 0.0, 2.0, 0.09), Point("boiling", 99.325, 102.3, 0.11))
ENTRY = Entry(
    "2026-11-28T12:00:00+00:00", "c0ffee", 1, "edge", POINTS, Line(-198, 4055, 0.01), "Mila", 0.12
)
HOLDS = Channel("edge", "MAX31855K", 26000, -198, 4055)


@pytest.fixture(autouse=True)
def place(tmp_path, monkeypatch):
    path = tmp_path / "new folder" / "calibrations.jsonl"
    monkeypatch.setenv(history.VARIABLE, str(path))
    return path


def test_what_is_added_comes_back():
    assert history.entries() == []
    later = replace(ENTRY, when_utc="2027-01-01T00:00:00+00:00", by="Łukasz", check_k=None)
    history.add(ENTRY)
    history.add(later)
    assert history.entries() == [ENTRY, later]


def test_the_newest_that_the_device_still_holds_counts():
    later = replace(ENTRY, when_utc="2027-01-01T00:00:00+00:00")
    another = replace(later, line=Line(0, 4096, 0.0))
    kept = [ENTRY, later, another]
    assert history.newest(kept, "c0ffee", 1, HOLDS) == later
    assert history.newest(kept, "c0ffee", 0, HOLDS) is None
    assert history.newest(kept, "beef", 1, HOLDS) is None
    assert history.newest(kept, "c0ffee", 1, replace(HOLDS, gain_q12=4056)) is None


@pytest.mark.parametrize(
    "line", ["no JSON", "[]", "{}", '{"when_utc": 1, "points": [3]}', '{"points": null}']
)
def test_a_damaged_line_is_named(place, line):
    history.add(ENTRY)
    with place.open("a", encoding="utf-8") as stream:
        stream.write(line + "\n")
    with pytest.raises(StoreError, match="calibrations.jsonl:2 is no calibration: take the line"):
        history.entries()


def test_a_file_that_is_no_text_or_no_file(place):
    place.parent.mkdir()
    place.write_bytes(b"\xff\xfe")
    with pytest.raises(StoreError, match="is no UTF-8 text"):
        history.entries()
    place.unlink()
    place.mkdir()
    for act in (history.entries, lambda: history.add(ENTRY)):
        with pytest.raises(StoreError, match="cannot be"):
            act()


def test_the_check_in_the_water_counts_as_a_residual():
    assert ENTRY.known().residual_k == 0.12
    assert ENTRY.known().span_c == (0.0, 99.325)


@pytest.mark.parametrize("name", ["edge", "channel0", "was calibrated on", "Ä: 1.0 ± 2"])
def test_the_record_s_sentence_says_all_that_a_budget_needs(name):
    known = Known(name, "2026-11-28", (At(0.0, 0.09), At(99.33, 0.11), At(183.0, 0.58)), 0.12)
    assert read_sentence(known.sentence()) == known


@pytest.mark.parametrize(
    "sentence",
    [
        "Stage 1 of 4: ramp to 90 °C.",
        "edge was calibrated on 2026-11-28 at 0.00 ± 0.09 °C, residual 0.12 °C.",  # one point
        "edge was calibrated on 2026-11-28 at ., ± °C, residual 0.12 °C.",
        "edge was calibrated on 2026-11-28 at 0.00 ± 0.09, 0.00 ± 0.09 °C, residual 0.12 °C.",
        "edge was calibrated on 2026-11-28 at 0.0 ± 0.1, 99.0 ± 0.1 °C, residual 0.12 °C. More",
    ],
)
def test_any_other_sentence_says_nothing(sentence):
    assert read_sentence(sentence) is None


@pytest.mark.parametrize(
    ("on_utc", "is_old"),
    # a year: common practice, no source
    [
        ("2026-11-28T12:00:00+00:00", False),
        ("2027-11-27T00:00:00+00:00", False),
        ("2027-11-29T00:00:00+00:00", True),
        ("changed in the store", True),
    ],
)
def test_after_a_year_it_is_old(on_utc, is_old):
    assert ENTRY.known().is_old(on_utc) is is_old
