"""The bench record in a real browser: looked at, told, closed; readable for everybody."""

import pytest

from emberbed.jobs.book import JobBook
from emberbed.store.run_store import RunStore
from tests.end_to_end.page_bench import LONG_MS, PageCommand, open_tab
from tests.end_to_end.test_page_looks import scan
from tests.support import bench_jobs


@pytest.fixture
def tab(tmp_path, browser):
    store = tmp_path / "runs.sqlite"
    with RunStore.open(store) as opened:
        bench_jobs.fill(opened, tmp_path)
    with PageCommand(store) as command:
        opened_tab = open_tab(browser, command.url)
        opened_tab.store = store
        yield opened_tab
        opened_tab.page.close()


def job_of(tab, number):
    with RunStore.open(tab.store) as store:
        return JobBook(store).job(number)


def test_a_job_from_the_list_to_its_end(tab):
    page = tab.page
    page.get_by_role("link", name="Jobs").click()
    page.get_by_role("heading", name="How often repairs succeed").wait_for(timeout=LONG_MS)
    page.get_by_text("67 % (21 % to 94 %)").wait_for(timeout=LONG_MS)
    page.get_by_label("Type of board").fill("Weather logger")
    page.get_by_label("Fault, as it came in").fill("no radio")
    tab.button("Open it").click()
    page.get_by_role("heading", name="Job 8 (Weather logger)").wait_for(timeout=LONG_MS)
    tab.button("residue cleaned: yes").click()
    page.locator('button[aria-label="residue cleaned: yes"][aria-pressed="true"]').wait_for(
        timeout=LONG_MS
    )
    page.get_by_label("Minutes of hands").fill("soon")
    tab.button("Keep this").click()
    page.get_by_text("--minutes soon is no time").first.wait_for(timeout=LONG_MS)
    page.get_by_label("Minutes of hands").fill("25")
    tab.button("Keep this").click()
    page.get_by_text("Work: 25 min").wait_for(timeout=LONG_MS)
    page.get_by_label("A sentence about it").fill("sends again")
    page.get_by_role("button", name="works", exact=True).click()
    page.get_by_text("sends again").wait_for(timeout=LONG_MS)
    job = job_of(tab, 8)
    assert (job.minutes, job.outcome, job.outcome_note) == (25, "works", "sends again")
    assert job.answers[("after", "clean")].answer == "yes"
    # the browser complains of an answer that was refused, and of nothing else
    assert all("409" in complaint for complaint in tab.complaints), tab.complaints


def test_what_was_done_is_added_to_a_job_and_taken_back(tab, tmp_path):
    page = tab.page
    page.goto(page.url.partition("#")[0] + "#/jobs/7")
    photo = bench_jobs.draw_photo(tmp_path / "after.png", "after the work")
    page.get_by_label("A new photograph, of").select_option("after")
    page.locator("input[type=file]").set_input_files(photo)
    page.locator("img.kept").wait_for(timeout=LONG_MS)
    page.get_by_label("A new part").fill("print head cable")
    page.get_by_label("How many").fill("2")
    page.get_by_label("What one costs").fill("3,50")
    tab.button("Add the part").click()
    page.get_by_text("2 × print head cable (3.50 EUR)").wait_for(timeout=LONG_MS)
    page.get_by_label("Minutes it ran").fill("20")
    tab.button("It passed").click()
    tab.button("Take test 1 back").wait_for(timeout=LONG_MS)
    assert scan(tab) == []
    tab.button("Take part 1 back").click()
    page.get_by_text("print head cable").wait_for(state="detached", timeout=LONG_MS)
    job = job_of(tab, 7)
    assert [one.kind for one in job.photos] == ["after"]
    assert [(one.kind, one.passed, one.minutes) for one in job.tests] == [("functional", True, 20)]
    assert job.parts == ()
    assert tab.complaints == []


def test_photographs_are_seen_and_everybody_can_read_it(tab):
    tab.page.goto(tab.page.url.partition("#")[0] + "#/jobs/2")
    tab.page.locator("img.kept").first.wait_for(timeout=LONG_MS)
    widths = tab.page.evaluate(
        "Promise.all([...document.querySelectorAll('img.kept')].map((one) =>"
        " one.decode().then(() => one.naturalWidth)))"
    )
    assert widths == [640, 640]
    assert "Together: 38.21 EUR" in tab.main_text()
    for place in ("#/jobs/2", "#/jobs"):
        tab.page.goto(tab.page.url.partition("#")[0] + place)
        tab.page.locator("table").first.wait_for(timeout=LONG_MS)
        assert scan(tab) == []
    assert tab.complaints == []
