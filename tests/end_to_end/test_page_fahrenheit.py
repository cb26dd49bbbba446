"""Readings in °F too: shown as they are, and nothing but what is shown changes."""

import csv
import io
import re

import pytest

from emberbed.store.export import write_csv
from emberbed.store.run_store import RunStore
from tests.end_to_end.page_bench import PageCommand, open_tab
from tests.support.profiles import hold_profile

# ice, steam and the one temperature at which both scales agree: NIST SP 811, B.8 (from memory)
SAME = ((0, 32), (100, 212), (-40, -40))


@pytest.fixture
def profile(tmp_path):
    path = tmp_path / "hold.toml"
    path.write_text(hold_profile(for_s=20), encoding="utf-8")
    return path


def test_readings_are_shown_in_fahrenheit_too_and_stored_in_celsius(tmp_path, profile, browser):
    store = tmp_path / "runs.sqlite"
    with PageCommand(store, profile, "--speed", "20", "--fahrenheit") as command:
        tab = open_tab(browser, command.url)
        tab.load()
        tab.press()
        tab.until("moment.rows > 30")
        shown = re.findall(r"(\d+\.\d) °C \((\d+) °F\)", tab.page.locator(".sensors").inner_text())
        assert len(shown) == 2
        for celsius, fahrenheit in shown:
            assert abs(float(celsius) * 9 / 5 + 32 - int(fahrenheit)) <= 0.6
        assert "°F" in tab.page.locator(".degrees + p").inner_text()
        assert tab.page.locator(".degrees").inner_text().endswith("°C")
        assert "°F" not in tab.page.locator("#hands, .steps, .log").all_inner_texts()
        for celsius, fahrenheit in SAME:
            script = f"import('/static/dom.js').then((dom) => dom.reading({celsius}))"
            assert tab.page.evaluate(script) == f"{celsius}.0 °C ({fahrenheit} °F)"
        tab.until("moment.desk.state === 'over'")
        assert tab.complaints == []
        tab.page.close()
    with RunStore.open(store) as opened:
        stream = io.StringIO(newline="")
        write_csv(opened, 1, stream)
        said = " ".join(event.sentence for event in opened.events(1))
    rows = list(csv.DictReader(io.StringIO(stream.getvalue())))
    hottest = max(float(row["top_near_chip_c"]) for row in rows if row["top_near_chip_c"])
    assert 55 < hottest < 70, "60 °C was asked for"
    assert "°F" not in said


def test_without_the_wish_there_is_one_scale(tmp_path, profile, browser):
    with PageCommand(tmp_path / "runs.sqlite", profile, "--speed", "20") as command:
        tab = open_tab(browser, command.url)
        tab.load()
        tab.press()
        tab.until("moment.rows > 5")
        assert "°F" not in tab.main_text()
        tab.page.close()
