"""The bench page around a run, in a real browser: rehearse, edit, look at the heater, share."""

import re
import sys

import pytest

from emberbed.jobs.book import JobBook
from emberbed.jobs.placements import last_placement
from emberbed.profiles.reader import read_profile
from emberbed.store.run_store import RunStore
from tests.end_to_end.page_bench import LONG_MS, PageCommand, open_tab
from tests.support.command import finish

TABLET = "127.0.0.2"  # another address of this computer stands for the bench's network


@pytest.fixture
def command(tmp_path):
    with PageCommand(tmp_path / "runs.sqlite") as page:
        yield page


@pytest.fixture
def tab(command, browser):
    tab = open_tab(browser, command.url)
    tab.page.locator(".pick").first.wait_for(timeout=LONG_MS)
    yield tab
    refused = "(Conflict)"  # the browser's own note of an answer that says no
    assert [said for said in tab.complaints if refused not in said] == []
    tab.page.close()


def edit(tab, name):
    tab.page.evaluate("(name) => { location.hash = `#/edit/shipped/${name}`; }", name)
    tab.page.locator("#at-stages-0-to_c").wait_for(timeout=LONG_MS)


def test_a_rehearsal_says_what_the_command_says(tab):
    tab.page.locator(".pick", has_text="Weather logger").click()
    tab.button("Rehearse it").click(timeout=LONG_MS)
    tab.page.get_by_text("from arming to cool").wait_for(timeout=LONG_MS)
    said = finish("rehearse", "weather-logger").output.splitlines()
    told = tab.page.locator(".choose .sentences li").all_inner_texts()
    assert said[said.index("") + 1 :] == told[: len(said) - said.index("") - 1]


def test_a_profile_is_changed_checked_and_saved(tab, command):
    edit(tab, "label-printer")
    tab.page.locator("#at-stages-0-to_c").fill("85")
    tab.page.wait_for_timeout(600)
    assert tab.page.evaluate("document.activeElement.id") == "at-stages-0-to_c"
    tab.page.locator("#file").fill("my-printer")
    tab.button("Save").click()
    tab.page.get_by_text("Saved.", exact=True).wait_for(timeout=LONG_MS)
    saved = command.store.parent / "profiles" / "my-printer.toml"
    assert read_profile(saved).model.stages[0].to_c == 85
    assert "# Dry-out: slowly" in saved.read_text(), "comments stay"


def test_a_mistake_is_told_as_typed_with_the_commands_words(tab, tmp_path):
    edit(tab, "label-printer")
    tab.page.locator("#at-stages-0-to_c").fill("600")
    error = tab.page.locator(".sentences .error").first
    error.wait_for(timeout=LONG_MS)
    wrong = tmp_path / "label-printer-2.toml"
    wrong.write_text(tab.page.locator("#toml").input_value())
    command_says = finish("check", wrong).errors.splitlines()[0]
    assert error.inner_text().endswith(command_says.removeprefix(f"{tmp_path}/"))
    assert tab.page.locator("tr.wrong").count() == 1
    assert tab.page.locator("#at-stages-0-to_c").get_attribute("aria-invalid") == "true"


def test_a_chip_is_told_and_a_warning_accepted_with_its_reason(tab, command):
    edit(tab, "weather-logger")
    tab.page.locator("#at-chip-length_mm").fill("12")
    tab.page.locator("#at-chip-width_mm").fill("12")
    tab.page.locator("#at-chip-thickness_mm").fill("1,2")
    tab.page.locator("#at-standard").select_option("J-STD-020C")
    tab.until("screen.shape.head.standard === 'J-STD-020C'")
    tab.page.locator("#at-sensors-edge-role").select_option("neighbour")
    tab.page.locator("#at-sensors-edge-part").select_option("tin-lead joint", timeout=LONG_MS)
    tab.page.locator("#at-sensors-edge-limit_c").fill("140")
    tab.until("screen.shape.sensors.edge.limit_c === '140'")
    tab.until("screen.shape.sensors.edge.part === 'tin-lead joint'")
    tab.page.locator(".sentences .warning summary").first.click(timeout=LONG_MS)
    tab.page.get_by_label("Reason to accept").first.fill("looked at by two of us")
    tab.button("Accept this warning").first.click()
    tab.page.get_by_text("(accepted: looked at by two of us)").first.wait_for(timeout=LONG_MS)
    assert "looked at by two of us" in tab.page.locator("#toml").input_value()
    tab.page.locator("#file").fill("with-chip")
    tab.button("Save").click()
    tab.page.get_by_text("Saved.", exact=True).wait_for(timeout=LONG_MS)
    saved = read_profile(command.store.parent / "profiles" / "with-chip.toml").model
    assert (saved.chip.thickness_mm, saved.standard) == (1.2, "J-STD-020C")
    assert saved.sensors["edge"].part == "tin-lead joint"
    assert saved.accepted[-1].reason == "looked at by two of us"


def test_a_text_that_is_no_toml_is_told_and_kept(tab):
    edit(tab, "label-printer")
    tab.page.locator("#toml").fill('name = "unclosed\n')
    tab.page.locator(".sentences .error").first.wait_for(timeout=LONG_MS)
    assert tab.page.locator("#toml").input_value() == 'name = "unclosed\n'
    assert "May not run" in tab.main_text()


def test_a_stage_is_added_moved_and_taken_out(tab):
    edit(tab, "weather-logger")
    stages = tab.page.locator("tbody tr")
    before = stages.count()
    tab.button("Add a stage").click()
    tab.until(f"screen.shape.stages.length === {before + 1}")
    tab.button(f"Move stage {before} up").click()
    tab.until(f"screen.shape.stages[{before - 2}].values.for_s === '120'")
    tab.button(f"Take stage {before - 1} out").click()
    tab.until(f"screen.shape.stages.length === {before}")
    assert "may run" in tab.main_text().lower()


def test_a_name_that_is_none_is_told(tab):
    edit(tab, "label-printer")
    tab.page.locator("#file").fill("../escape")
    tab.button("Save").click()
    tab.page.get_by_text("cannot be a file name").first.wait_for(timeout=LONG_MS)


def test_a_profile_with_mistakes_cannot_be_prepared(command, browser):
    folder = command.store.parent / "profiles"
    folder.mkdir()
    (folder / "broken.toml").write_text("name = 1\n")
    tab = open_tab(browser, command.url)
    tab.page.locator(".pick", has_text="broken").click()
    tab.page.get_by_text("May not run").wait_for(timeout=LONG_MS)
    assert tab.button("Prepare the board").is_disabled()
    tab.page.close()


def test_the_heater_page_shows_live_readings_and_lets_the_port_go(tab):
    tab.page.get_by_role("link", name="Heater").click()
    tab.page.get_by_role("cell", name="top_near_chip").wait_for(timeout=LONG_MS)
    assert re.search(r"\d\d\.\d °C", tab.page.locator("tbody").inner_text())
    assert "thermal cut-out" in tab.main_text()
    tab.page.get_by_role("link", name="Bench", exact=True).click()
    tab.until("moment.look === null")
    tab.load("Weather logger")


def test_a_busy_port_is_told(tmp_path, browser):
    with PageCommand(tmp_path / "runs.sqlite", "--device", "socket://127.0.0.1:9") as command:
        tab = open_tab(browser, command.url)
        tab.page.locator(".pick").first.wait_for(timeout=LONG_MS)
        tab.page.get_by_role("link", name="Heater").click()
        tab.page.get_by_text("127.0.0.1:9").first.wait_for(timeout=LONG_MS)
        assert tab.page.locator(".simulation").is_hidden(), "a real device has no simulated hand"
        tab.page.close()


def test_what_was_confirmed_is_remembered(command, browser):
    for first in (True, False):
        tab = open_tab(browser, command.url)
        tab.page.locator(".pick", has_text="Weather logger").click()
        tab.button("Prepare the board").click(timeout=LONG_MS)
        tab.page.get_by_text(re.compile("new here|Confirmed for this")).wait_for(timeout=LONG_MS)
        assert tab.page.locator("#place").input_value() == ("" if first else "beside the antenna")
        assert ("new here" in tab.main_text()) == first
        if first:
            tab.page.locator("#place").fill("beside the antenna")
            tab.button("load the device").click()
            tab.button("simulated button").wait_for(timeout=LONG_MS)
            tab.page.locator("button.stop").click()
            tab.page.locator(".verdict:visible").wait_for(timeout=LONG_MS)
            assert "nothing was heated" in tab.main_text()
            tab.button("Choose the next run").click()
        tab.page.close()


def test_a_run_enters_the_record_under_the_type_of_board_that_was_named(tab, command):
    tab.page.locator(".pick", has_text="Weather logger").click()
    tab.button("Prepare the board").click(timeout=LONG_MS)
    tab.page.locator("#place").fill("beside the antenna")
    tab.page.get_by_label("Type of board").fill("Logger, second series")
    tab.button("load the device").click()
    tab.button("simulated button").wait_for(timeout=LONG_MS)
    tab.page.locator("button.stop").click()
    tab.page.locator(".verdict:visible").wait_for(timeout=LONG_MS)
    with RunStore.open(command.store) as store:
        (job,) = JobBook(store).jobs()
        placed = last_placement(store, "Logger, second series")
    assert (job.board, list(job.runs)) == ("Logger, second series", [1])
    assert placed.note == "beside the antenna"


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux answers at all of 127.0.0.0/8")
def test_a_tablet_pairs_watches_and_stops(tmp_path, browser, long_profile):
    store = tmp_path / "runs.sqlite"
    with PageCommand(store, long_profile, "--speed", "5", "--share", TABLET) as command:
        bench = open_tab(browser, command.url)
        bench.page.get_by_text(command.said["shared"]["code"]).wait_for(timeout=LONG_MS)
        bench.load()
        bench.press()
        tablet = open_tab(browser, command.said["shared"]["url"], 820, 1180)
        tablet.page.locator("#code").fill("000000")
        tablet.button("Pair").click()
        tablet.page.get_by_text("not the pairing code").wait_for(timeout=LONG_MS)
        tablet.page.locator("#code").fill(command.said["shared"]["code"])
        tablet.button("Pair").click()
        tablet.until("moment.facts?.heating")
        assert tablet.page.locator("button.answer").is_disabled()
        assert tablet.page.locator("button.mark").is_disabled()
        assert tablet.page.locator(".simulation button:visible").count() == 0
        tablet.page.locator("button.stop").click()
        bench.until("moment.facts.now.heater.does === 'off'")
        for tab in (bench, tablet):
            tab.page.close()


def test_the_page_asks_this_computer_only(tab, command):
    names = tab.page.evaluate("performance.getEntriesByType('resource').map((one) => one.name)")
    assert names and all(name.startswith(command.url.partition("#")[0]) for name in names)


def test_a_note_is_added_and_shown_as_text(make_run, short_profile, browser):
    store = make_run(short_profile).store
    with PageCommand(store) as command:
        tab = open_tab(browser, command.url)
        tab.page.locator(".pick").first.wait_for(timeout=LONG_MS)
        tab.page.evaluate("() => { location.hash = '#/runs/1'; }")
        tab.page.locator("#note").fill("<img src=x onerror=alert(1)> flux was old")
        tab.button("Add the note").click()
        tab.page.locator(".sentences li", has_text="flux was old").wait_for(timeout=LONG_MS)
        assert tab.page.locator("main img").count() == 0
        assert tab.complaints == []
        tab.page.close()
    with RunStore.open(store) as opened:
        assert [note.sentence for note in opened.notes(1)] == [
            "<img src=x onerror=alert(1)> flux was old"
        ]
        assert opened.audit(1) == []
