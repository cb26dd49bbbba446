"""The evidence's page and text, from results made by hand: nothing is left out, nothing breaks."""

import pytest

from emberbed.verify_page import page, summary, verdict
from emberbed_sim.campaign.evidence import lower_share, replay_command, summarise, upper_share
from emberbed_sim.campaign.results import Result
from emberbed_sim.campaign.seeded_bugs import Found
from emberbed_sim.campaign.table import cells

OPEN = next(cell for cell in cells() if cell.name == "tc_open soak edge/with/known")
WEAK = next(cell for cell in cells() if cell.expect == "not_detectable")


def result(cell, seed, miss="", found="SENSOR_OPEN", found_s=0.4):
    return Result(
        "cell", cell.row, cell.phase, str(cell.setup), seed, cell.expect, miss, found, found_s,
        0.1, 130.0, 135.0, -20.0, 0, 4.0, True,
    )  # fmt: skip


def healthy(seed, miss=""):
    return Result(
        "healthy", "draught", "", "edge/with/known", seed, "healthy", miss, "", None, None, 130.0,
        135.0, -20.0, 1, 500.0, True,
    )  # fmt: skip


ABOUT = {
    "seeds": [0, 1],
    "seconds": 1.0,
    "engines": {"runs": {"PyPy 7": 5}, "compared": 1, "ticks": 70, "differs": []},
    "interpreter": {"micropython": True, "runs": 1, "ticks": 9, "equal": 9, "differs": []},
}


BUGS = (Found("a bug", True, "by a cell"),)


def evidence(*results, bugs=BUGS):
    return summarise(results, cells(), list(bugs), ABOUT)


GOOD = (result(OPEN, 0), result(OPEN, 1, found_s=0.6), result(WEAK, 0), healthy(3))


def test_the_counts_are_those_of_the_results():
    found = evidence(*GOOD)
    assert (found["missed"], found["false_trips"], found["not_detectable"]) == (0, 0, 1)
    assert found["seeded_bugs"]["caught"] == found["seeded_bugs"]["of"] == 1
    assert found["healthy"]["false_questions"] == 1
    (row,) = [row for row in found["rows"] if row["row"] == "tc_open"]
    assert (row["runs"], row["found"], row["found_s"]["most"]) == (2, 2, 0.6)
    assert row["peak_over_target_k"] == -5.0


def test_misses_and_false_trips_are_told_with_the_command_that_replays_them():
    found = evidence(result(OPEN, 4, "nothing tripped"), healthy(9, "false trip NO_RISE"))
    assert (found["missed"], found["false_trips"]) == (1, 1)
    assert [one["replay"] for one in found["misses"]] == [
        "emberbed verify --only 'tc_open' --phase soak --setup edge/with/known --replay 4",
        "emberbed verify --only healthy --replay 9",
    ]
    told = page(found, "emberbed verify")
    assert "nothing tripped" in told and "false trip NO_RISE" in told


def test_a_pair_is_replayed_by_its_name():
    pair = Result(
        "pair", "tc_open then heap_low", "soak", "edge/with/known", 2, "heat off", "it heated", "",
        None, None, None, 135.0, 0.0, 0, 1.0, True,
    )  # fmt: skip
    assert "--only 'tc_open then heap_low'" in replay_command(pair)


# The rule of three and the exact bound: 0 of 300 leaves at most 1 - 0.05**(1/300) = 0.00994;
# Clopper and Pearson's table for 1 of 10, one-sided 95 %: 0.0051 to 0.394
@pytest.mark.parametrize(
    ("count", "of", "low", "high"), [(0, 300, 0.0, 0.00994), (1, 10, 0.0051, 0.394)]
)
def test_bounds_are_the_exact_ones(count, of, low, high):
    assert lower_share(count, of) == pytest.approx(low, rel=0.01, abs=1e-9)
    assert upper_share(count, of) == pytest.approx(high, rel=0.01)
    assert upper_share(of, of) == 1.0
    assert upper_share(0, 30000) == pytest.approx(3 / 30000, rel=0.01)


def test_the_page_needs_nothing_else_and_names_everything():
    told = page(evidence(*GOOD), "emberbed verify --seeds 2")
    assert told.startswith("<!doctype html>")
    for outside in ("http://", "https://", "<script", "url(", "@import"):
        assert outside not in told
    for said in ("tc_open", WEAK.hardware, "a bug", "by a cell", "verify --seeds 2", "H01"):
        assert said in told
    assert "@media print" in told


def test_what_others_wrote_cannot_break_the_page():
    told = page(evidence(*GOOD, bugs=(Found("<b>x</b>", False, ""),)), "<i>")
    assert "<b>x</b>" not in told and "<i>" not in told
    assert "NOT FOUND" in told


def test_the_short_text_has_a_line_for_every_fault():
    told = summary(evidence(*GOOD), "emberbed verify")
    assert verdict(evidence(*GOOD)) in told
    assert "| tc_open | 2 | 0 |" in told
    assert WEAK.reason in told
