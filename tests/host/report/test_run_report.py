"""The report on paper: one A4 page that says what the run's page says, read by another program."""

import pytest

from emberbed.report import wanted
from emberbed.report.chart_caption import caption_of
from emberbed.report.paper import BOTTOM, CONTENT, HEIGHT, Look, missing_letters, width_of, wrapped
from emberbed.report.run_report import write_run_report
from emberbed.report.run_view import chart_of, view_of
from emberbed.report.wanted import wanted_rows
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore
from emberbed_fw import messages as ms
from tests.host.report.hand_run import HandRun, store_hand_run
from tests.host.report.paper_reader import Pages
from tests.host.report.test_run_page import cut_records, tripped_records
from tests.host.report.test_run_page_odd import HOSTILE
from tests.host.report.test_words import INNER_WORDS
from tests.host.store.synthetic_run import drawn_run, store_run

A4_POINTS = (210 / 25.4 * 72, 297 / 25.4 * 72)  # ISO 216


@pytest.fixture
def store(tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        yield opened


def report_of(store, number):
    path = store.path.parent / "report.pdf"
    write_run_report(store, number, path)
    return Pages(path)


@pytest.fixture(scope="module")
def session():
    """Return a session with hot air: the chip's top goes from 130 to 220 degC at 2 degC a tick."""
    run = HandRun().start()
    run.until_stage(3).seconds(5).answered().seconds(20).did(ms.OFFSET, 300)
    run.until_stage(6).seconds(8).answered().seconds(45).did(ms.MARK)
    return run.finish()


def test_one_page_tells_it_all(store, session):
    number = store_hand_run(
        store,
        session,
        events=[(session.tape_tick(6), "prompt", "Bring the hot air over the chip.")],
    )
    pages, run = report_of(store, number), store.run(number)
    assert len(pages.sizes) == 1
    assert pages.sizes[0] == pytest.approx(A4_POINTS, abs=0.1)
    for expected in (
        "Run 1: Weather logger, radio chip",
        "Finished: every stage ran to its end.",
        "1 ramp", "6 hot air", "temperature, °C", "power, %", "solder moves", "nozzle on",
        "Solid: top_near_chip (control); dashed: edge; short-dashed: chip_top",
        "soak, stage 2, within its band",
        "1:00 at 80 °C kept",
        "time above liquidus, 183 °C",
        "at most 2:30 kept",
        "within 5 °C of the peak",
        "largest spread between sensors",
        "Bring the hot air over the chip.",
        "Target 3 °C up, from the terminal.",
        "button on the device held",
        "1 from the terminal",
        "fits its fingerprint",
        "energy",
        run.firmware_digest,
        f"record fingerprint {run.head_sha256}",
        "page 1 of 1",
    ):  # fmt: skip
        assert expected in pages.text, (expected, pages.text)
    assert not INNER_WORDS.search(pages.text), INNER_WORDS.search(pages.text)
    assert pages.told["Title"] == "Run 1: Weather logger, radio chip"


def test_colours_are_not_named_where_none_are_printed(store, session):
    view = view_of(store, store_hand_run(store, session))
    said = caption_of(chart_of(view), in_colour=False)
    assert "range" not in said and "blue" not in said and "colour" not in said
    assert "Level line: a limit." in said


def test_a_trip_comes_first(store):
    pages = report_of(store, store_run(store, list(tripped_records()), end=("tripped", 3)))
    assert "Tripped: the device switched heat off by itself." in pages.text
    assert pages.text.index("edge is open") < pages.text.index("Measured against wanted")


def test_a_long_list_of_events_takes_a_second_page(store):
    number = store_run(store, drawn_run(), end=None)
    for count in range(120):
        store.add_event(number, 100 + count, "note", f"This is the note with the number {count}.")
    store.end_run(number, "finished", 0, limits_exceeded=0)
    pages = report_of(store, number)
    assert len(pages.sizes) == 2
    for count in range(120):
        assert pages.text.count(f"with the number {count}.") == 1
    assert "page 2 of 2" in pages.texts[1]
    foot = 1 - (BOTTOM - 8) / HEIGHT
    for page in (0, 1):  # nothing runs into the foot, and the first page is used
        assert pages.lowest_ink(page, foot) < 1 - (BOTTOM - 4) / HEIGHT
    assert pages.lowest_ink(0, foot) > 0.85


def test_what_people_wrote_stays_text(store):
    pages = report_of(store, store_run(store, list(cut_records()), profile_name=HOSTILE * 3,
                                       end=("stopped", 4)))  # fmt: skip
    assert "<script>alert" in pages.text
    assert "$x_1$" in report_of(
        store, store_run(store, list(cut_records()), profile_name="cost $x_1$ and $")
    ).text, "no formula is made of it"  # fmt: skip


def test_the_same_run_gives_the_same_bytes(store, session):
    number = store_hand_run(store, session)
    path = store.path.parent / "report.pdf"
    octets = set()
    for _time in range(2):
        write_run_report(store, number, path)
        octets.add(path.read_bytes())
    assert len(octets) == 1


def test_an_empty_run(store):
    assert "Run 1" in report_of(store, store_run(store, [], end=("refused", 2))).text


def test_a_place_that_cannot_be_written(store, tmp_path):
    number = store_run(store, drawn_run())
    with pytest.raises(StoreError, match="cannot be written"):
        write_run_report(store, number, tmp_path / "none" / "report.pdf")


def test_measured_against_wanted_by_hand(store):
    """The drawn run: 65 degC at 0.8 degC/s to 90, 60 s there, 20 s of waiting, down at 0.5.

    By hand: within 5 degC of the peak are the last 5 / 0.8 = 6.25 s of the ramp, 80 s at 90, and
    the first 5 / 0.5 = 10 s of the cooling: 96 s. Rates: J-STD-020 table 5-2, 3 and 6 degC/s.
    """
    rows = {row.name: row for row in wanted_rows(view_of(store, store_run(store, drawn_run())))}
    ramp = rows["fastest ramp, over 10 s"]
    assert ramp.measured == "0.80 °C/s at top_near_chip" and ramp.judged == "kept"
    assert ramp.wanted == "0.80 °C/s by the profile; at most 3 °C/s"
    assert rows["soak, stage 2, within its band"][1:] == ("1:00", "1:00 at 90 °C", "kept")
    assert rows["within 5 °C of the peak"].measured == "1:36 at top_near_chip"
    assert rows["time above liquidus, 220 °C"].measured == "not reached at top_near_chip"
    assert rows["peak"][1:] == (
        "90.0 °C at top_near_chip", "90 °C by the profile; at most 110 °C", "kept")  # fmt: skip
    assert rows["fastest cooling, over 10 s"].measured == "0.50 °C/s at top_near_chip"
    assert rows["largest spread between sensors"].judged == "kept"  # 4 degC of at most 15


def test_what_was_wanted_and_not_kept(store, monkeypatch):
    soak = "soak, stage 2, within its band"
    (row,) = [
        row
        for row in wanted_rows(view_of(store, store_run(store, list(cut_records()))))
        if row.name == soak
    ]
    assert row.judged == wanted.SHORT and row.measured == "0:05"
    monkeypatch.setattr(wanted, "MOST_SPREAD_C", 3.9)
    monkeypatch.setattr(wanted, "RAMP_LIMIT_C_PER_S", 0.7)
    rows = {row.name: row for row in wanted_rows(view_of(store, store_run(store, drawn_run())))}
    assert rows["largest spread between sensors"].judged == wanted.WIDE
    assert rows["fastest ramp, over 10 s"].judged == wanted.EXCEEDED


def test_words_are_broken_by_their_real_width():
    look = Look(8)
    text = "The device switched heat off by itself at 153.1 °C, " * 5 + "x" * 400
    lines = wrapped(text, look, CONTENT)
    assert all(width_of(line, look) <= CONTENT for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert not any(line.startswith("°C") for line in lines)
    assert wrapped("", look, CONTENT) == [""]
    # DejaVu Sans at 10 points: the digit is 0.636 em wide (its own table, read with fontTools)
    assert width_of("0" * 100, Look(10)) == pytest.approx(636, rel=0.01)


def test_letters_that_the_paper_cannot_show():
    assert missing_letters("Äé°C ± – Ж") == ""
    assert missing_letters("修 bench 修理") == "修理"
