"""The page of a session in which a person had a hand, recorded by the firmware itself."""

import re

import pytest

from emberbed.report.run_page import write_run_page
from emberbed.report.work_words import NOT_THE_JOINT
from emberbed.store.run_store import RunStore
from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from tests.host.report.hand_run import PROFILE, HandRun, store_hand_run
from tests.host.report.test_run_page import Page
from tests.host.report.test_run_page_odd import HOSTILE
from tests.host.report.test_words import INNER_WORDS
from tests.host.store.synthetic_run import drawn_record, drawn_run, store_run
from tests.support.bench import OPEN_WORD


@pytest.fixture(scope="module")
def session():
    run = HandRun().start()
    run.seconds(40).did(ms.HOLD_HERE).seconds(30).did(ms.GO_ON, 0, ms.BY_PAGE)
    run.until_stage(3).seconds(12).answered().until_stage(4).seconds(20).did(ms.OFFSET, 300)
    run.until_stage(6).seconds(8).answered().seconds(45).did(ms.MARK).seconds(15).did(ms.MARK)
    run.seconds(5).did(ms.MARK)
    while run.board_c[1] > 71:
        run.tick()
    run.raw[1] = OPEN_WORD
    run.until(rs.FINISHED, 150)
    return run


@pytest.fixture(scope="module")
def source(session, tmp_path_factory):
    place = tmp_path_factory.mktemp("pages")
    with RunStore.open(place / "runs.sqlite") as store:
        before = store_run(store, [drawn_record(5)], end=("tripped", 3))
        events = [(session.tape_tick(6), "prompt", "Bring the hot air over the chip.")]
        run_id = store_hand_run(store, session, events=events, linked_to=before)
        store_run(store, [drawn_record(5)], linked_to=run_id)
        write_run_page(store, run_id, place / "page.html")
    return (place / "page.html").read_text(encoding="utf-8")


def test_the_page_tells_what_people_did(source):
    said = Page(source).plain
    for expected in (
        "Went on from run 1. Went on as run 3.",
        "Save what you did: emberbed runs revise 2 NEW.toml",
        "Cooling not proven: a sensor was pulled at 71 °C (edge).",
        "Hold here, from the terminal.",
        "Go on, from the page.",
        "Target 3 °C up, from the terminal.",
        "Answered, marked: nozzle on, from the terminal.",
        "Marked: solder moves, from the terminal.",
        "time since the press board chip what happened",
        f"above 183 °C at chip_top (top of the chip); {NOT_THE_JOINT}",
        "solder moves to air away 0:20",
        "time in hot air 1:05",
        "held by a person 0:30",
        "largest spread 2",
        "changes by a person 2 from the terminal, 1 from the page",
        "marks 5",
        "6 hot air: Bring the hot air over the chip, then answer 130.0 °C open",
        "Hatched with lines: hot air from above was on.",
        "Orange: top_near_chip (control); blue dashed: edge; green short-dashed: chip_top",
    ):
        assert expected in said, (expected, said)
    assert not INNER_WORDS.search(said), INNER_WORDS.search(said)


def test_a_row_has_its_times_and_temperatures(session, source):
    """Time on the curve, since the press, board and chip: those of the record of that tick."""
    records = session.records()
    marked = next(r for r in records if r.mark == ms.MARK_SOLDER_MOVES)
    pressed = next(r for r in records if r.state in rs.HEATING_STATES)
    first = records[0].tick

    def clock(ticks):
        return f"{ticks // 600}:{round(ticks / 10) % 60:02d}"

    row = (
        f"{clock(marked.tick - first)} {clock(marked.tick - pressed.tick)}"
        f" {marked.channel0_cdeg / 100:.1f} °C {marked.channel2_cdeg / 100:.1f} °C"
        " Marked: solder moves"
    )
    assert row in Page(source).plain


def test_marks_stand_in_the_chart_by_name(source):
    chart = source[source.index("<svg") : source.index("</svg>")]
    for label in ("held here", "target +3 °C", "flux on", "nozzle on", "solder moves", "air away"):
        assert f">{label}</text>" in chart, label
    assert chart.count("<pattern") == 2, "hot air and holding"


def test_the_time_in_band_follows_the_shifted_target(source):
    """The soak at 130 degC, 3 degC up, stands in its band of 5 degC the whole 90 s."""
    assert re.search(r"5 hold 130\.0 °C 1:30 1:30 1:30 2\.\d °C", Page(source).plain)


def test_the_page_still_needs_nothing_else(source):
    page = Page(source)
    assert "script" not in {tag for tag, _attributes in page.tags}
    assert not re.search(r"url\((?!#)", source)
    for tag, attributes in page.tags:
        for name in ("src", "href", "xlink:href"):
            assert attributes.get(name, "#").startswith("#"), (tag, attributes)


def test_a_run_without_hands_says_so_in_one_line(tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as store:
        write_run_page(store, store_run(store, drawn_run()), tmp_path / "page.html")
    said = Page((tmp_path / "page.html").read_text(encoding="utf-8")).plain
    assert "changes by a person none" in said
    assert "none: peak 90.0 °C of 220 °C at top_near_chip (controls the heat)" in said
    for absent in ("time in hot air", "held by a person", "solder moves", "Save what", "Hatched"):
        assert absent not in said, absent


@pytest.mark.parametrize("alloy", ["'no such solder'", "7", "[]", "{ a = 1 }"])
def test_a_solder_that_the_book_does_not_know_has_no_liquidus(tmp_path, alloy):
    profile = PROFILE.replace('"Sn63Pb37"', alloy)
    with RunStore.open(tmp_path / "runs.sqlite") as store:
        run_id = store_run(store, [drawn_record(5)], profile_toml=profile)
        write_run_page(store, run_id, tmp_path / "page.html")
    assert "time above liquidus" not in Page((tmp_path / "page.html").read_text("utf-8")).plain


def test_hostile_events_of_people_are_only_text(tmp_path):
    record = drawn_record(6, touch=ms.HOLD_HERE, touch_source=ms.BY_PAGE)
    with RunStore.open(tmp_path / "runs.sqlite") as store:
        run_id = store_run(store, [drawn_record(5), record], end=None)
        store.add_event(run_id, 6, "touch", HOSTILE)
        store.end_run(run_id, "finished", 0)
        write_run_page(store, run_id, tmp_path / "page.html")
    page = Page((tmp_path / "page.html").read_text(encoding="utf-8"))
    assert "script" not in {tag for tag, _attributes in page.tags}
    assert "<script>alert('x')</script>" in page.plain and "from the page" in page.plain
