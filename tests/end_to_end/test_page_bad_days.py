"""What goes wrong around the page, tried in the real thing: a sentence, nothing lost, no doubt."""

import socket
import sqlite3
import threading
from contextlib import contextmanager

import pytest

from tests.end_to_end.page_bench import LONG_MS, PageCommand, open_tab
from tests.support.command import stored

BROKEN = 'name = "half a file\n[[stages'


@contextmanager
def held(store):
    """Hold a store as another program would that writes and does not end."""
    other = sqlite3.connect(store, isolation_level=None, timeout=30)
    other.execute("BEGIN EXCLUSIVE")
    try:
        yield
    finally:
        other.execute("ROLLBACK")
        other.close()


@pytest.fixture
def command(tmp_path, long_profile):
    with PageCommand(tmp_path / "runs.sqlite", long_profile, "--speed", "5") as page:
        yield page


@pytest.fixture
def tab(command, browser):
    tab = open_tab(browser, command.url)
    tab.page.locator(".pick").first.wait_for(timeout=LONG_MS)
    yield tab
    tab.page.close()


def test_a_held_store_starts_nothing_and_a_second_try_works(tab, command):
    tab.button("Prepare the board").click(timeout=LONG_MS)
    with held(command.store):
        tab.button("load the device").click()
        tab.page.get_by_text("is held by another program").first.wait_for(timeout=LONG_MS)
        assert "It did not start" in tab.main_text()
        assert "Nothing is heated" in tab.main_text()
    tab.button("Back to the profiles").click()
    tab.load()
    assert tab.moment("facts.heating") is False


def test_a_store_that_is_held_in_a_run_costs_the_heat_and_leaves_no_doubt(tab, command):
    tab.load()
    tab.press()
    tab.until("moment.rows > 60")
    before = stored(command.store).run.ticks
    with held(command.store):
        tab.page.get_by_text("The record broke off", exact=True).wait_for(timeout=LONG_MS)
        assert "did not start" not in tab.main_text().lower()
        assert "heat was switched off" in tab.main_text()
        assert tab.page.locator(".may.leave").is_visible()
        assert "nothing is measured any more" in tab.page.locator(".may").inner_text()
    tape = stored(command.store)
    assert tape.run.ticks >= before and tape.audit == []


def test_runs_can_be_looked_at_while_another_program_writes(tab, command):
    with held(command.store):
        tab.page.get_by_role("link", name="Runs").click()
        tab.page.get_by_role("searchbox").wait_for(timeout=LONG_MS)


def test_a_broken_profile_is_shown_told_mended_and_run(browser, tmp_path):
    folder = tmp_path / "profiles"
    folder.mkdir()
    (folder / "broken.toml").write_text(BROKEN)
    with PageCommand(tmp_path / "runs.sqlite") as command:
        tab = open_tab(browser, command.url)
        tab.page.locator(".pick", has_text="broken").wait_for(timeout=LONG_MS)
        tab.page.evaluate("() => { location.hash = '#/edit/own/broken'; }")
        error = tab.page.locator(".sentences .error").first
        error.wait_for(timeout=LONG_MS)
        assert "broken.toml" in error.inner_text()
        assert tab.page.locator("#toml").input_value() == BROKEN, "shown as it is"
        assert (folder / "broken.toml").read_text() == BROKEN, "looking changes nothing"
        tab.page.close()


@contextmanager
def port_held_by_another_program():
    """A port that answers to one program already: it takes the connection and says nothing."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        taken = []
        thread = threading.Thread(target=lambda: taken.append(server.accept()), daemon=True)
        thread.start()
        yield f"socket://127.0.0.1:{server.getsockname()[1]}"
        for connection, _address in taken:
            connection.close()


def test_a_device_held_by_another_program_is_told_and_nothing_heats(tmp_path, browser):
    with (
        port_held_by_another_program() as url,
        PageCommand(tmp_path / "runs.sqlite", "--device", url) as command,
    ):
        tab = open_tab(browser, command.url)
        tab.button("Prepare the board").click(timeout=LONG_MS)
        tab.button("load the device").click()
        tab.page.get_by_text("It did not start").wait_for(timeout=LONG_MS)
        assert url in tab.main_text()
        assert "Nothing is heated by this run" in tab.main_text()
        tab.page.close()
