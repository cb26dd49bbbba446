"""Whole runs on the bench page in a real browser: to the report, a trip, a lost device."""

import os
import signal

import pytest

from emberbed.bench.outcome import EXIT_STOPPED
from emberbed_fw import run_states as rs
from tests.end_to_end.page_bench import LONG_MS, PageCommand, open_tab
from tests.support.command import Started, stored
from tests.support.profiles import PROMPT

SPEED = "30"


@pytest.fixture
def bench(tmp_path, short_profile):
    """Return a function that starts the page with the short profile."""
    running = []

    def start(*words, profile=short_profile, speed=SPEED):
        page = PageCommand(tmp_path / "runs.sqlite", profile, "--speed", speed, *words)
        running.append(page)
        return page

    yield start
    for page in running:
        page.__exit__()


@pytest.fixture
def opened(bench, browser):
    """Return a function that starts the page and opens it in a tab."""
    tabs = []

    def start(*words, **more):
        command = bench(*words, **more)
        tabs.append(open_tab(browser, command.url))
        return command, tabs[-1]

    yield start
    for tab in tabs:
        tab.page.close()


def test_a_whole_run_from_page_load_to_report(opened, browser):
    command, tab = opened()
    tab.load()
    assert "Hold the button on the device" in tab.main_text()
    assert tab.moment("facts.heating") is False, "loading heats nothing"
    tab.press()
    answer = tab.page.locator("button.answer:enabled")
    answer.wait_for(timeout=LONG_MS)
    assert PROMPT in tab.main_text()
    tab.page.wait_for_timeout(800)  # a touch at once is meant for what was there before
    answer.click()
    tab.page.locator(".verdict:visible").wait_for(timeout=LONG_MS)
    headline = tab.page.locator(".verdict .big").inner_text()
    assert headline == "Finished, 0 limits exceeded"
    with tab.page.expect_popup() as popup:
        tab.page.get_by_role("link", name="Open the report").click()
    popup.value.get_by_role("heading", name="Run 1").wait_for(timeout=LONG_MS)
    popup.value.close()
    run = stored(command.store)
    assert (run.run.state, run.audit) == ("finished", [])
    assert "Answered, from the page." in run.sentences()
    assert "Confirmed before heat: batteries out" in run.sentences()
    assert tab.complaints == []


def test_only_the_button_starts_heat(opened):
    """Everything that the page can ask for is asked for, and nothing heats."""
    _command, tab = opened()
    tab.load()
    touches = [("touch", {"key": key, "stage": 255}) for key in "mhenl+-cf"]
    for path, body in [("answer", {"prompt": 255}), ("answer", {"prompt": 0}), *touches]:
        tab.page.evaluate(
            "([path, body]) => window.emberbed.do(`/api/${path}`, body)", [path, body]
        )
    tab.page.wait_for_timeout(1500)
    assert tab.moment("facts.heating") is False
    assert tab.moment("facts.now.percent") == 0
    assert tab.moment("facts.press") is not None


def test_a_trip_says_cause_and_mend_and_lets_nobody_touch(opened):
    command, tab = opened("--fault", "tc_open@60s")
    tab.load()
    tab.press()
    banner = tab.page.locator(".trip:visible")
    banner.wait_for(timeout=LONG_MS)
    assert "is open" in banner.inner_text() and "What to do:" in banner.inner_text()
    box = banner.bounding_box()
    assert box["y"] + box["height"] < 900, "seen without scrolling"
    assert tab.page.locator(".may.leave").is_visible()
    tab.page.locator(".verdict:visible").wait_for(timeout=LONG_MS)
    assert "Tripped" in tab.page.locator(".verdict .big").inner_text()
    assert stored(command.store).run.state == "tripped"


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system knows no such signal")
def test_a_lost_device_leaves_no_doubt_about_the_heat(opened):
    command, tab = opened()
    tab.load()
    tab.press()
    tab.until("moment.rows > 50")
    os.kill(command.virtual_device(), signal.SIGKILL)
    tab.page.locator(".verdict:visible").wait_for(timeout=LONG_MS)
    assert "PC link lost" in tab.page.locator(".verdict .big").inner_text()
    assert "nothing is measured any more" in tab.page.locator(".may").inner_text()
    assert tab.page.locator(".band.stale").is_visible()
    assert stored(command.store).run.state == "link_lost"


def test_a_reload_in_the_run_shows_all_of_it(opened):
    command, tab = opened(speed="10")
    tab.load()
    tab.press()
    tab.until("moment.rows > 100")
    tab.page.reload()
    tab.until("screen?.live?.curve.count > 100")
    first = tab.page.evaluate("window.emberbed.screen.live.curve.columns[0][0]")
    assert first < 0.5, "the curve begins at the press"
    tab.page.locator("button.stop").click()
    tab.until("moment.facts.now.heater.does === 'off'")
    assert "Stop asked for" in tab.page.locator(".log").inner_text()
    assert command.process.poll() is None


def test_escape_stops_from_any_screen(opened):
    _command, tab = opened(speed="10")
    tab.load()
    tab.press()
    tab.page.get_by_role("link", name="Runs").click()
    tab.page.get_by_role("searchbox").focus()
    tab.page.keyboard.press("Escape")
    tab.until("moment.facts.now.heater.does === 'off'")


def test_a_hold_is_asked_for_and_ended_from_the_page(opened):
    command, tab = opened(speed="10")
    tab.load()
    tab.press()
    tab.until("moment.facts.changes.length > 3")
    tab.button("Change").click()
    tab.button("hold here").click()
    tab.until("moment.facts.ask !== null")
    assert "Held here" in tab.main_text()
    tab.page.wait_for_timeout(800)
    tab.page.locator("button.answer").click()
    tab.until("moment.facts.ask === null")
    told = stored(command.store).sentences()
    assert "Hold here at" in told and "Go on, from the page." in told


def test_the_mark_offers_the_next_expected_event(opened):
    command, tab = opened()
    tab.load("27 mm BGA")
    tab.press()
    tab.until("moment.facts.mark === \"mark 'flux on'\"")
    tab.button("Mark 'flux on'").click()
    tab.until("moment.pins.some((pin) => pin.kind === 'mark')")
    assert "Mark: flux on, from the page." in stored(command.store).sentences()


def test_two_pages_see_the_same_run_and_one_stops_it(opened, browser):
    command, tab = opened(speed="10")
    tab.load()
    tab.press()
    other = open_tab(browser, command.url)
    other.until("moment.facts?.heating")
    other.page.locator("button.stop").click()
    tab.until("moment.facts.now.heater.does === 'off'")
    other.page.close()


def test_ctrl_c_in_the_terminal_stops_and_records_the_cooling(opened):
    command, tab = opened(speed="60")
    tab.load()
    tab.press()
    tab.until("moment.facts.now.sensors[0].c > 30")
    command.process.send_signal(signal.SIGINT)
    assert command.process.wait(60) == 0
    run = stored(command.store)
    assert run.run.state == "stopped"
    cooling = [record for record in run.records if record.state == rs.COOL]
    assert len(cooling) > 600 and run.records[-1].state == rs.STOPPED
    tab.page.get_by_text("has not answered").first.wait_for(timeout=LONG_MS)
    assert "switches heat off by itself" in tab.page.locator("#top").inner_text()


def test_a_stale_token_is_told(opened):
    command, tab = opened()
    tab.page.evaluate("sessionStorage.setItem('emberbed-token', '0'.repeat(32))")
    tab.page.reload()
    tab.page.get_by_text("earlier start").wait_for()
    tab.page.goto(command.url)
    tab.page.reload()  # the same address with another part behind # loads nothing by itself
    tab.page.locator(".pick").first.wait_for(timeout=LONG_MS)


def test_a_run_of_the_terminal_is_shown_and_stopped_on_the_page(tmp_path, browser, long_profile):
    store = tmp_path / "runs.sqlite"
    with Started("run", long_profile, "--live", "--speed", "10", "--store", store) as run:
        url = run.until("The bench page:").partition("page: ")[2].strip()
        tab = open_tab(browser, url)
        tab.button("simulated button").wait_for(timeout=LONG_MS)
        tab.press()
        tab.page.locator("button.stop").click()
        tab.until("moment.facts.now.heater.does === 'off'")
        assert run.end(LONG_MS / 1000) == EXIT_STOPPED
        tab.page.get_by_text("The run has ended").first.wait_for(timeout=LONG_MS)
        assert "Treat board and heater as hot" in tab.main_text()  # the server has gone, or goes
        tab.page.close()
    assert stored(store).run.state == "stopped"
