"""The customer's sheet: honest, plain, nothing internal, in two forms that say the same."""

import base64
import re
from io import BytesIO

import pytest
from PIL import Image

from emberbed.calibration.known import EVENT, At, Known
from emberbed.report.customer_sheet import Job, NotEnded, write_sheet
from emberbed.report.photos import read_photo
from emberbed.report.record_code import short_code
from emberbed.store.run_store import RunStore
from emberbed.store.runs import utc_now
from emberbed_fw import messages as ms
from tests.host.report.hand_run import HandRun, store_hand_run
from tests.host.report.paper_reader import Pages
from tests.host.report.test_run_page import Page, cut_records, tripped_records
from tests.host.report.test_run_page_odd import HOSTILE
from tests.host.report.test_words import INNER_WORDS
from tests.host.store.synthetic_run import drawn_record, drawn_run, facts, store_run
from tests.support.plans import bench_settings

SHOP = Job("Repair bench at the old mill", board="Label printer, serial 8841")
PHOTO_COLOUR = (200, 30, 30)


@pytest.fixture
def store(tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        yield opened


@pytest.fixture(scope="module")
def session():
    run = HandRun().start()
    run.until_stage(3).seconds(5).answered().seconds(20).did(ms.OFFSET, 300)
    run.until_stage(6).seconds(8).answered().seconds(45).did(ms.MARK)
    return run.finish()


def both(store, number, job=SHOP):
    """Return the text of the sheet as HTML and as PDF."""
    page, paper = (store.path.parent / f"sheet.{form}" for form in ("html", "pdf"))
    write_sheet(store, number, job, page)
    write_sheet(store, number, job, paper)
    return Page(page.read_text(encoding="utf-8")).plain, Pages(paper).text


def test_both_forms_say_all(store, session):
    number = store_hand_run(store, session, device="/dev/ttyACM7", simulated=False)
    store.add_note(number, "Do not tell: 80 for parts.")
    code = short_code(store.run(number).head_sha256)
    for said in both(store, number):
        for expected in (
            "Repair bench at the old mill",
            "Label printer, serial 8841",
            f"code {code}",
            "chip_top top of the chip 22",
            "± 5.6 °C",  # at 225 degC, as below by hand
            "type K wire of class 2 ±2.5 °C or 0.75% (IEC 60584-1); MAX31855K ±2 °C",
            "Passes above liquidus on this board: 1 of 3, in this record.",
            "All limits of temperature and rate were kept.",
            "No trip",
            "Target 3 °C up, from the terminal.",
            "Marked, from the terminal: flux on 2:41, nozzle on 5:42, solder moves 6:28, air away",
            "A sensor is not the joint",
            "Whether the repair is good",
        ):
            assert expected in said, (expected, said)
        for internal in ("parts", "kJ", "kWh", "ttyACM7", "emberbed", "Save what you did", "Note"):
            assert internal not in said, (internal, said)
        assert "imulated" not in said
        assert not INNER_WORDS.search(said), INNER_WORDS.search(said)


def test_a_trip_and_a_simulated_heater_are_not_hidden(store):
    number = store_run(store, list(tripped_records()), end=("tripped", 3))
    for said in both(store, number):
        assert "Tripped: the device switched heat off by itself." in said
        assert "trip, the device took the heat away: The thermocouple of the sensor edge" in said
        assert "No trip" not in said and "see the trip below" in said
        assert "Seat its plug" not in said, "that is for the bench"
        assert "no board was heated" in said


def hot(peak_cdeg):
    """Return a run whose control sensor comes to this; its limit is 110 degC."""
    return [drawn_record(tick, channel0_cdeg=peak_cdeg, channel1_cdeg=9000) for tick in range(60)]


def test_a_reading_near_its_limit_is_called_close(store):
    # By hand: 2 sqrt((2.5^2 + 2^2 + 2^2 + 0.125^2 + (0.015 * 82)^2) / 3) = 4.6 for a MAX31855K
    for peak_cdeg, judged in ((10530, "kept"), (10550, "close")):
        for said in both(store, store_run(store, hot(peak_cdeg))):
            assert f"{peak_cdeg / 100:.1f} °C ± 4.6 °C at most 110 °C {judged}" in said
            assert ("Close: kept as it was read" in said) == (judged == "close")


def calibrated_run(store, *told):
    """Store a run whose control sensor is calibrated, with these events."""
    channels = (("top_near_chip", 1, 26000, -40, 4100), ("edge", 1, 26000, 0, 4096))
    number = store.begin_run(facts(settings=bench_settings(channels=channels)))
    records = hot(10530)
    for first in range(0, len(records), 10):
        store.append(number, records[first : first + 10])
    for sentence in told:
        store.add_event(number, None, EVENT, sentence)
    store.end_run(number, "finished", 0, limits_exceeded=0)
    return number


def test_a_calibration_in_the_record_makes_the_uncertainty_smaller(store):
    day = utc_now()[:10]
    points = (At(0.0, 0.09), At(99.33, 0.11))
    known = Known("top_near_chip", day, points, 0.04)
    for said in both(store, calibrated_run(store, known.sentence())):
        # 2 sqrt((0.045^2 + 0.12^2 + 0.667^2 + 0.04^2 + 0.125^2 + 1.23^2) / 3 + 0.117^2) = 1.7
        assert "105.3 °C ± 1.7 °C at most 110 °C kept" in said
        assert f"top_near_chip was calibrated on {day} at 0.00" in said
        assert "over a year old" not in said


def test_an_old_calibration_and_one_that_nobody_noted_are_told(store):
    known = Known("top_near_chip", "2024-05-01", (At(0.0, 0.09), At(99.33, 0.11)), 0.04)
    for said in both(store, calibrated_run(store, known.sentence())):
        assert "The calibration of top_near_chip was over a year old (2024-05-01)" in said
    for said in both(store, calibrated_run(store)):
        assert "top_near_chip was set to known temperatures that are not in this record" in said
        assert "105.3 °C ± 4.6 °C" in said


def test_a_limit_exceeded_is_told(store):
    for said in both(store, store_run(store, hot(12000))):
        assert "Limit exceeded: top_near_chip reached 120.00 °C" in said
        assert "120.0 °C ± 4.7 °C at most 110 °C exceeded" in said
        assert "All limits" not in said


def test_runs_that_belong_together_are_told_together(store, session):
    first = store_run(store, list(tripped_records()), end=("tripped", 3))
    alone = store_hand_run(store, session)
    second = store_hand_run(store, session, linked_to=first)
    for said in both(store, second, Job("Shop", others=(alone, first))):
        assert "told whole: runs 1, 3" in said
        assert "Run 1: Tripped: the device switched heat off by itself." in said
        assert "2 of 3, in its records 1, 2, 3." in said
        assert "run 1, " in said and "trip, the device took the heat away" in said
        for number in (first, second):
            code = short_code(store.run(number).head_sha256)
            assert re.search(rf"code, run {number} {code}", said), said


def test_a_changed_record_is_told(store):
    number = store_run(store, list(cut_records()), end=("stopped", 4))
    store.database.connection.execute("UPDATE event SET sentence = 'x'")
    store.database.connection.execute("UPDATE run SET ended_utc = '2001-01-01T00:00:00+00:00'")
    for said in both(store, number):
        assert "changed or damaged after it was stored" in said


def test_a_run_that_has_not_ended_has_no_sheet(store):
    number = store_run(store, drawn_run()[:50], end=None)
    with pytest.raises(NotEnded, match="still being recorded"):
        write_sheet(store, number, SHOP, store.path.parent / "sheet.pdf")


def test_names_cannot_break_the_page(store):
    job = Job(HOSTILE, board=HOSTILE)
    number = store_run(store, drawn_run(), profile_name=HOSTILE)
    page = store.path.parent / "sheet.html"
    write_sheet(store, number, job, page)
    source = page.read_text(encoding="utf-8")
    tags = Page(source).tags
    assert not [tag for tag, _ in tags if tag in ("script", "img")]
    assert "default-src 'none'" in source and "alert('x')" in Page(source).plain


def test_photographs_are_inside(store, tmp_path):
    Image.new("RGB", (1200, 800), PHOTO_COLOUR).save(tmp_path / "b.png")
    photo = read_photo(tmp_path / "b.png")
    number = store_run(store, drawn_run())
    page, paper = tmp_path / "sheet.html", tmp_path / "sheet.pdf"
    for path in (page, paper):
        write_sheet(store, number, Job("Shop", before=photo, after=photo), path)
    images = [told for tag, told in Page(page.read_text(encoding="utf-8")).tags if tag == "img"]
    assert [told["alt"] for told in images] == ["Photograph before", "Photograph after"]
    octets = base64.b64decode(images[0]["src"].removeprefix("data:image/jpeg;base64,"))
    assert Image.open(BytesIO(octets)).size == (900, 600)
    pages = Pages(paper)
    assert len(pages.sizes) == 1 and "Photograph after" in pages.text
    red = round(0.299 * 200 + 0.587 * 30 + 0.114 * 30)  # its grey by ITU-R BT.601
    grey = pages.grey[0].histogram()
    assert sum(grey[red - 4 : red + 5]) > 0.05 * sum(grey), "two photographs are on the paper"


def test_the_code_is_the_beginning_of_the_fingerprint():
    assert short_code("0f4c4416e11418578038db75") == "0f4c-4416-e114"
