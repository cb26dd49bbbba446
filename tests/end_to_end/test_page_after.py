"""After a run: papers, numbers, the job, a photograph for the next one; and the self-test."""

import csv
import json
from io import BytesIO, StringIO

import pytest
from PIL import Image

from emberbed.jobs.book import JobBook
from emberbed.store.run_store import RunStore
from tests.end_to_end.page_bench import LONG_MS, PageCommand, open_tab
from tests.support.command import finish

PDF_HEAD = b"%PDF-"  # ISO 32000-1, 7.5.2


@pytest.fixture(scope="module")
def store(make_run, short_profile):
    return make_run(short_profile).store


@pytest.fixture(scope="module")
def command(store):
    with PageCommand(store) as page:
        yield page


@pytest.fixture
def tab(command, browser):
    tab = open_tab(browser, command.url)
    tab.page.locator(".pick").first.wait_for(timeout=LONG_MS)
    yield tab
    assert tab.complaints == []
    tab.page.close()


@pytest.fixture
def run(tab):
    tab.page.evaluate("() => { location.hash = '#/runs/1'; }")
    tab.page.get_by_role("link", name="Open the report").wait_for(timeout=LONG_MS)
    return tab


def downloaded(tab, link):
    with tab.page.expect_download(timeout=LONG_MS) as download:
        link.click()
    with open(download.value.path(), "rb") as file:
        return download.value.suggested_filename, file.read()


def test_the_report_as_pdf_and_the_numbers_are_kept_as_files(run):
    links = {name: run.page.get_by_role("link", name=name) for name in
             ("Report as PDF", "Export as CSV", "Export as JSON")}  # fmt: skip
    name, octets = downloaded(run, links["Report as PDF"])
    assert name == "run-1.pdf" and octets.startswith(PDF_HEAD)
    name, octets = downloaded(run, links["Export as CSV"])
    rows = list(csv.DictReader(StringIO(octets.decode())))
    assert name == "run-1.csv" and len(rows) > 1000 and "top_near_chip_c" in rows[0]
    name, octets = downloaded(run, links["Export as JSON"])
    assert name == "run-1.json" and json.loads(octets)


def test_a_bundle_is_kept_as_a_file_that_another_bench_can_open(run, tmp_path):
    link = run.page.get_by_role("link", name="Export as a bundle")
    name, octets = downloaded(run, link)
    (tmp_path / name).write_bytes(octets)
    opened = finish("runs", "open", tmp_path / name, "--store", tmp_path / "other.sqlite")
    assert (name, opened.exit_code) == ("run-1.zip", 0), opened.said
    assert "is stored here as run 1" in opened.output


def test_the_sheet_for_the_customer_opens_and_is_kept(run):
    run.button("Open the sheet").click()
    run.page.get_by_text("write it first").wait_for()
    run.page.locator("#shop").fill("Bench of the repair café")
    run.page.locator("#which-board").fill("serial 4711")
    with run.page.expect_popup() as popup:
        run.button("Open the sheet").click()
    popup.value.get_by_text("A sensor is not the joint").wait_for(timeout=LONG_MS)
    said = popup.value.locator("body").inner_text()
    assert "Bench of the repair café" in said and "serial 4711" in said
    popup.value.close()
    run.page.reload()
    run.page.locator("#shop").wait_for(timeout=LONG_MS)
    assert run.page.locator("#shop").input_value() == "Bench of the repair café"


def test_the_run_says_how_far_its_checklists_are(run, store):
    run.button("Open a job for it").click(timeout=LONG_MS)
    run.page.get_by_text("of 7 answered; open: moved when cool").wait_for(timeout=LONG_MS)
    with RunStore.open(store) as opened:
        [job] = JobBook(opened).jobs()
        assert list(job.runs) == [1]
    run.page.get_by_role("link", name=f"Job {job.id}").click()
    run.button("residue cleaned: yes").wait_for(timeout=LONG_MS)


def test_a_photograph_of_the_sensors_before_the_next_run(tab):
    stream = BytesIO()
    Image.new("RGB", (400, 300), "teal").save(stream, "JPEG")
    photo = {"name": "bench.jpg", "mimeType": "image/jpeg", "buffer": stream.getvalue()}
    tab.page.locator(".pick", has_text="Weather logger").click()
    tab.button("Prepare the board").click(timeout=LONG_MS)
    tab.page.get_by_text("No photograph yet").wait_for(timeout=LONG_MS)
    tab.page.locator("#place").fill("on the ground plane")
    tab.page.locator("input[type=file]").set_input_files({**photo, "mimeType": "image/gif"})
    tab.page.get_by_text("is a JPEG or a PNG").wait_for()
    tab.page.locator("input[type=file]").set_input_files(photo)
    picture = tab.page.locator(".placement img")
    picture.wait_for(timeout=LONG_MS)
    tab.page.wait_for_timeout(500)
    assert picture.evaluate("(image) => [image.naturalWidth, image.naturalHeight]") == [400, 300]
    tab.button("Back").click()
    tab.button("Prepare the board").click(timeout=LONG_MS)
    tab.page.locator(".placement img").wait_for(timeout=LONG_MS)
    assert tab.page.locator("#place").input_value() == "on the ground plane"


def test_the_device_tests_itself_and_heats_nothing(tab):
    tab.page.get_by_role("link", name="Heater").click()
    tab.button("Test it").click(timeout=LONG_MS)
    tab.page.get_by_text("Nothing found at rest: 2 sensors read").wait_for(timeout=LONG_MS)
    assert "channel 0: top_near_chip" in tab.page.locator("details").text_content()
    assert "Nothing is armed" not in tab.main_text()
    assert tab.moment("look.device_state") == "ready, nothing loaded"
    tab.page.get_by_role("link", name="Bench", exact=True).click()
    tab.until("moment.look === null")


def test_runs_are_compared_where_a_stage_begins(make_run, short_profile, store, browser):
    finish("run", short_profile, "--speed", "max", "--press", "--seed", 2, "--store", store)
    with PageCommand(store) as command:
        tab = open_tab(browser, command.url)
        tab.page.locator(".pick").first.wait_for(timeout=LONG_MS)
        tab.page.get_by_role("link", name="Runs").click()
        for number in (1, 2):
            tab.page.get_by_label(f"Compare run {number}").check(timeout=LONG_MS)
        tab.page.get_by_label("Aligned").select_option("where stage 2 begins", timeout=LONG_MS)
        tab.page.wait_for_timeout(1000)
        x, _asked, one, two = tab.page.evaluate("window.emberbed.screen.curve.data")
        begins = [
            x[next(n for n, c in enumerate(column) if c is not None)] for column in (one, two)
        ]
        assert all(first < 0 for first in begins), "the ramp before stage 2 lies left of its begin"
        at = x.index(0)
        assert one[at] == pytest.approx(60, abs=6) and two[at] == pytest.approx(60, abs=6)
        tab.page.close()
