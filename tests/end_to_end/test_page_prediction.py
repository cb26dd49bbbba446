"""The rehearsed curve under the live one: what the run should have been, stage by stage."""

import json

import pytest

from tests.end_to_end.page_bench import LONG_MS, PageCommand, open_tab
from tests.support.command import finish
from tests.support.profiles import hold_profile

ALIGNED = """async ([points, begun]) => {
    const { aligned } = await import('/static/prediction.js');
    return aligned(points, new Map(begun)).map((one) => one.s);
}"""
NO_STAGE = 255
PREDICTED = [
    {"s": s, "c": 20 + s, "stage": stage}
    for s, stage in [(0, NO_STAGE), (2, 0), (4, 0), (6, 1), (8, 1), (10, 2), (12, 2)]
]


@pytest.fixture(scope="module")
def profile(tmp_path_factory):
    path = tmp_path_factory.mktemp("profile") / "quarter.toml"
    path.write_text(hold_profile(for_s=900))
    return path


@pytest.fixture(scope="module")
def command(tmp_path_factory, profile):
    store = tmp_path_factory.mktemp("page") / "runs.sqlite"
    with PageCommand(store, profile, "--speed", "2") as page:
        yield page


@pytest.fixture(scope="module")
def tab(command, browser):
    tab = open_tab(browser, command.url)
    tab.load()
    tab.press()
    yield tab
    assert tab.complaints == []
    tab.page.close()


def test_the_rehearsal_lies_under_the_live_curve(tab, profile):
    tab.button("Rehearsed curve").wait_for(timeout=LONG_MS)
    tab.until("screen.live.curve.curve.extra.under.length === 1")
    under = tab.page.evaluate("window.emberbed.screen.live.curve.curve.extra.under[0]")
    said = json.loads(finish("rehearse", profile, "--json").output)
    assert under["label"] == "rehearsed"
    assert under["top"] == pytest.approx(said["peaks_c"]["top_near_chip"], abs=0.3)


def test_it_can_be_taken_away_and_laid_again(tab):
    button = tab.button("Rehearsed curve")
    button.click(timeout=LONG_MS)
    tab.until("screen.live.curve.curve.extra.under.length === 0")
    assert button.get_attribute("aria-pressed") == "false"
    button.click()
    tab.until("screen.live.curve.curve.extra.under.length === 1")


@pytest.mark.parametrize(
    ("begun", "seconds"),
    [
        ([], [0, 2, 4, 6, 8, 10, 12]),  # before the press: as rehearsed
        ([[0, 2]], [2, 4, 6, 8, 10, 12]),
        ([[0, 3], [1, 27]], [3, 5, 27, 29, 31, 33]),  # a person took 20 s
        ([[0, 2], [1, 4], [2, 9]], [2, 4, 6, 9, 11]),  # cut short: the rest of it is left out
        ([[0, 2], [2, 5]], [2, 4]),  # stopped: no cooling from there was rehearsed
        ([[1, 1]], [1, 3, 5, 7]),  # a run that goes on with its second stage
    ],
)
def test_each_stage_of_it_begins_where_it_really_began(tab, begun, seconds):
    assert tab.page.evaluate(ALIGNED, [PREDICTED, begun]) == seconds
