"""The page finds a run that a killed program left open on a device, and takes it over."""

import socket

import pytest

from emberbed.bench.outcome import EXIT_LINK_LOST
from emberbed_fw import run_states as rs
from tests.end_to_end.page_bench import LONG_MS, PageCommand, open_tab
from tests.end_to_end.test_link_lost_and_back import killed_while_heating
from tests.support.command import Started, listed, stored
from tests.support.processes import need_posix


@pytest.fixture
def left(device, tmp_path, short_profile):
    """A run on a device that outlives the program that was killed: (device, store)."""
    need_posix("a program is killed")
    store = tmp_path / "runs.sqlite"
    killed_while_heating(device, store, short_profile)
    return device, store


def test_the_page_offers_and_takes_the_run_over(left, browser):
    (url, tell), store = left
    before = stored(store).run.ticks
    with PageCommand(store, "--device", url) as command:
        tab = open_tab(browser, command.url)
        tab.page.get_by_text("A run was left open").wait_for(timeout=LONG_MS)
        assert [(row["id"], row["state"]) for row in listed(store)] == [(1, "open")]
        tab.button("Take it over").click()
        tab.until("screen?.live?.curve.count > 0")
        first = tab.page.evaluate("window.emberbed.screen.live.curve.columns[0][0]")
        assert first < 0.5, "the curve begins at the press that the killed program saw"
        for said in ("Stage 1 of", "has taken the run over"):  # not at once with the curve
            tab.page.locator(".log").filter(has_text=said).wait_for(timeout=LONG_MS)
        tab.page.locator(".trip:visible").wait_for(timeout=LONG_MS)
        assert tab.moment("facts.now.heater.does") == "off"
        tab.page.locator(".verdict:visible").wait_for(timeout=LONG_MS)
        assert "PC link lost" in tab.page.locator(".verdict .big").inner_text()
        assert tab.complaints == []
        tab.page.close()
    tape = stored(store)
    assert (tape.run.id, tape.run.state, tape.gaps, tape.audit) == (1, "link_lost", 0, [])
    assert tape.run.ticks > before
    lost = next(n for n, one in enumerate(tape.records) if one.verdict == rs.LINK_LOST)
    assert not any(one.driven_zones for one in tape.records[lost:])


@pytest.mark.parametrize("device", ["4"], indirect=True)  # it can go on for 3 min only
def test_a_press_goes_on_with_a_run_taken_over(left, browser):
    (url, tell), store = left
    with PageCommand(store, "--device", url) as command:
        tab = open_tab(browser, command.url)
        tab.button("Take it over").click(timeout=LONG_MS)
        tab.until("moment.facts?.ask?.needs_press")
        tab.page.wait_for_timeout(800)  # a touch at once is meant for what was there before
        tab.page.locator("button.answer").click()
        tab.until("moment.facts?.press")
        assert tab.moment("facts.heating") is False, "an answer heats nothing"
        tell("hold 1.5")
        tab.until("moment.facts?.heating")
        assert tab.moment("about.run_id") == 2
        tab.page.locator("button.stop").click()
        tab.until("moment.facts.now.heater.does === 'off'")
        tab.page.close()
    assert stored(store, 2).run.linked_to == 1


def test_a_run_on_another_device_is_told_with_its_command(left, browser):
    (url, _tell), store = left
    with PageCommand(store) as command:
        tab = open_tab(browser, command.url)
        tab.page.get_by_text(f"emberbed page --device {url}").wait_for(timeout=LONG_MS)
        assert tab.button("Take it over").count() == 0
        tab.page.close()


def test_a_device_held_by_another_program_leaves_the_record_open(left, browser):
    (url, _tell), store = left
    host, _, port = url.removeprefix("socket://").partition(":")
    with PageCommand(store, "--device", url) as command:
        tab = open_tab(browser, command.url)
        tab.button("Take it over").wait_for(timeout=LONG_MS)
        with socket.create_connection((host, int(port))):
            tab.button("Take it over").click()
            tab.page.get_by_text("The run was not taken over").wait_for(timeout=LONG_MS)
        assert "another program" in tab.main_text()
        assert "treat board and heater as hot" in tab.main_text()
        assert "nothing is heated" not in tab.main_text().lower()
        tab.button("Back to the profiles").click()
        tab.button("Take it over").wait_for(timeout=LONG_MS)
        tab.page.close()
    assert stored(store).run.state == "open"


def test_a_run_taken_over_in_the_terminal_is_shown_live(left, browser):
    (_url, _tell), store = left
    with Started("run", "--resume", "--live", "--store", store) as run:
        url = run.until("The bench page:").partition("page: ")[2].strip()
        tab = open_tab(browser, url)
        tab.until("screen?.live?.curve.count > 0")
        assert tab.page.evaluate("window.emberbed.screen.live.curve.columns[0][0]") < 0.5
        assert tab.page.locator(".simulation").is_hidden(), "this device is no simulation to it"
        assert run.end(LONG_MS / 1000) == EXIT_LINK_LOST
        tab.page.close()
