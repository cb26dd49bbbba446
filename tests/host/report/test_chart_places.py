"""Thinning keeps what matters; words and limits find their places in the chart."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emberbed.report.chart_caption import caption_of
from emberbed.report.chart_model import Chart, Curve, Limit
from emberbed.report.label_places import rows_for, spread
from emberbed.report.thinning import averaged, thinned
from tests.host.report.drawn import SECONDS, SVG, course, drawn, strokes, texts

# thinning and places


def test_thinning_keeps_what_matters():
    random = np.random.default_rng(5)
    seconds = np.arange(50_000) / 10
    values = random.normal(90, 0.2, 50_000)
    values[12_345], values[33_333] = 140.0, 20.0
    values[40_000:40_007] = np.nan
    kept_s, kept = thinned(seconds, values)
    assert len(kept) < 5 * 300 + 1
    assert np.nanmax(kept) == 140.0 and np.nanmin(kept) == 20.0
    assert kept_s[kept == 140.0] == [1234.5]
    assert np.isnan(kept).any() and (np.diff(kept_s) > 0).all()
    assert kept_s[0] == seconds[0] and kept_s[-1] == seconds[-1]
    short = np.arange(100.0)
    assert thinned(short, short)[1] is short


def test_averages_keep_the_energy():
    seconds = np.arange(6000) / 10
    power = np.where(np.arange(6000) % 2, 80.0, 0.0)
    _times, means = averaged(seconds, power)
    assert means == pytest.approx(np.full(300, 40.0))


@settings(max_examples=200, deadline=None)
@given(st.lists(st.floats(0, 100), max_size=8))
def test_labels_never_cover_each_other(wanted):
    places = spread(wanted, 0, 100, least=5)
    assert len(places) == len(wanted)
    ordered = sorted(places)
    assert all(high - low > 5 - 1e-9 for low, high in zip(ordered, ordered[1:], strict=False))
    assert all(-1e-9 <= place <= 100 + 1e-9 for place in places)
    for one in range(len(wanted)):
        for other in range(len(wanted)):
            if wanted[one] < wanted[other]:
                assert places[one] < places[other]


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0, 100), st.floats(0.5, 30)), max_size=12),
    st.integers(1, 6),
)
def test_rows_keep_words_apart_and_lines_out_of_them(wanted, most):
    starts, widths = [start for start, _w in wanted], [width for _s, width in wanted]
    rows = rows_for(starts, widths, most)
    for one, row in enumerate(rows):
        assert row is None or 0 <= row < most
        for other, other_row in enumerate(rows):
            under = one != other and starts[one] <= starts[other] < starts[one] + widths[one]
            if under and row is not None and other_row is not None and starts[one] != starts[other]:
                assert row > other_row, "the other's line ends below these words"
            if under and row is not None and starts[one] == starts[other]:
                assert row != other_row


def test_words_that_fit_side_by_side_share_the_lowest_row():
    assert rows_for([0, 20, 40], [10, 10, 10], 3) == [0, 0, 0]
    assert rows_for([0, 5, 8], [10, 10, 10], 3) == [2, 1, 0]
    assert rows_for([0, 1, 2], [10, 10, 10], 2) == [None, 1, 0]


def level_lines(root):
    """Return the lines drawn in the style of limits."""
    return [style for style in strokes(root) if "stroke-dasharray: 7.2,1.8,1.8,1.8" in style]


def test_a_limit_near_the_curves_is_a_level_line_with_its_words():
    # the course ends at 85 degC: a limit at 100 is near, one at 245 would press it flat
    limits = [Limit(100.0, "edge", until_air=True), Limit(245.0)]
    root = drawn(measured=[course("edge")], limits=limits)
    said = texts(root)
    assert "limit 100 °C of edge until hot air" in said
    assert "limit 245 °C, above this picture" in said
    ticks = [int(word) for word in said if word.isdigit()]
    assert max(ticks) <= 120, "the curve keeps its height"
    assert len(level_lines(root)) == 1
    caption = caption_of(Chart([course("edge")], limits=limits))
    assert "Level line: a limit." in caption


def test_no_limit_no_line():
    root = drawn(measured=[course("edge")])
    assert not level_lines(root) and not any("limit" in word for word in texts(root))
    assert "limit" not in caption_of(Chart([course("edge")]))


def test_a_curve_that_ends_early_below_others_is_named_below_its_end():
    short = Curve("run 2", SECONDS[:200], np.full(200, 30.0))
    high = Curve("run 1", SECONDS, np.full(600, 90.0))
    root = drawn(measured=[short, high])
    words = {"".join(text.itertext()): text for text in root.iter(f"{SVG}text")}
    ends = {name: float(words[name].get("y")) for name in ("run 1", "run 2")}
    # in SVG y grows downward: its name is far from the other curve's
    assert ends["run 2"] > ends["run 1"] + 100
