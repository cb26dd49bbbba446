"""The chart is valid SVG, keeps its curves apart, and lets no name break it."""

import re
import subprocess
import sys
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.textpath import TextPath

from emberbed.report import chart as charts
from emberbed.report.chart import run_chart_svg
from emberbed.report.chart_caption import caption_of
from emberbed.report.chart_flags import FLAG_WIDTH, MOST_ROWS
from emberbed.report.chart_model import INK, Band, Chart, Curve, Flag, Limit, Mark, Span
from emberbed.report.label_places import rows_for, spread
from emberbed.report.thinning import averaged, thinned

SVG = "{http://www.w3.org/2000/svg}"
SECONDS = np.arange(0, 300, 0.5)


def course(name, offset=0.0):
    return Curve(name, SECONDS, 25 + SECONDS / 5 + offset)


def drawn(**parts):
    return ElementTree.fromstring(run_chart_svg(Chart(**parts)))


def texts(root):
    return ["".join(text.itertext()) for text in root.iter(f"{SVG}text")]


def strokes(root):
    """Return the style of every drawn path that is a stroked line."""
    return [path.get("style", "") for path in root.iter(f"{SVG}path") if path.get("clip-path")]


def test_a_whole_chart():
    root = drawn(
        measured=[course("edge"), course("chip", 9)],
        asked=course("asked for", 12),
        power=Curve("power", SECONDS, np.full(600, 40.0)),
        stages=[Band("1 ramp", 0, 200, "1"), Band("2 hold", 200, 290, "2")],
        events=[Mark("1", 3), Mark("2", 4), Mark("3", 250)],
        title="Run 3 <&>",
    )
    assert root.tag == f"{SVG}svg" and root.get("viewBox")
    assert root.get("width") is None, "its size is the page's business"
    said = texts(root)
    for label in ("edge", "chip", "asked for", "1 ramp", "2 hold", "power, %", "time, min:s",
                  "▴1–2", "▴3", "4:30"):  # fmt: skip
        assert label in said, label
    assert root.findtext(f"{SVG}title") == "Run 3 <&>"
    axes = [group.get("id") for group in root.iter(f"{SVG}g")
            if str(group.get("id")).startswith("axes_")]  # fmt: skip
    assert axes == ["axes_1", "axes_2"], "power has a strip of its own"


def test_ink_is_the_page_s_own_colour():
    svg = run_chart_svg(Chart([course("edge")], asked=course("asked for")))
    assert "currentColor" in svg and INK not in svg
    root = ElementTree.fromstring(svg)
    assert not any("#000000" in style or "#ffffff" in style for style in strokes(root))


def test_curves_differ_in_colour_and_in_line():
    root = drawn(measured=[course(f"sensor {number}", number) for number in range(8)])
    lines = [style for style in strokes(root) if "width: 1.7" in style]
    assert len(set(lines)) == len(lines) == 8
    dashes = {style.partition("stroke-dasharray:")[2].partition(";")[0] for style in lines}
    assert len(dashes) == 8, "colour-blind eyes and grey printers tell them apart too"


# Okabe and Ito 2008, "Color Universal Design", jfly.uni-koeln.de/color: the palette in RGB
OKABE_ITO = {
    (230, 159, 0), (86, 180, 233), (0, 158, 115), (240, 228, 66), (0, 114, 178), (213, 94, 0),
    (204, 121, 167),
}  # fmt: skip


def test_the_colours_are_those_of_the_palette():
    ours = {tuple(bytes.fromhex(colour[1:])) for colour in charts.COLOURS if colour != INK}
    assert ours == OKABE_ITO


def test_the_first_colours_show_on_white_and_on_black():
    # contrast as in WCAG 2.1 (w3.org/TR/WCAG21, 1.4.11: at least 3:1 for graphics); the third and
    # fourth sensor's come as near as this palette allows, their line style helps
    def luminance(colour):
        parts = [part / 255 for part in bytes.fromhex(colour[1:])]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    def contrast(one, other):
        low, high = sorted([luminance(one), luminance(other)])
        return (high + 0.05) / (low + 0.05)

    for colour in charts.COLOURS[:4]:
        for paper in ("#fdfdfb", "#17191c"):  # page_style: --paper, light and dark
            assert contrast(colour, paper) > 2.8, (colour, paper)


@pytest.mark.parametrize(
    "name", ["<script>alert(1)</script>", "$\\frac{1}{0}$", "a & b", "_hidden", "\x1b[31m", "焊点"]
)
def test_names_are_text(name):
    svg = run_chart_svg(Chart([course(name)], stages=[Band(name, 0, 299, "1")]))
    assert "<script" not in svg and "\x1b" not in svg
    said = texts(ElementTree.fromstring(svg))
    shown = name.replace("\x1b", "")[:26]
    assert said.count(shown) == 2, said


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize(
    "measured",
    [
        [],
        [Curve("nothing", [], [])],
        [Curve("no reading", [0.0, 1.0], [np.nan, np.nan])],
        [Curve("one point", [0.0], [20.0])],
        [Curve("flat", [0.0, 1.0], [20.0, 20.0])],
        [Curve("lists", [0.0, 50_000.0], [20.0, 90.0])],
    ],
)
def test_runs_with_hardly_anything_are_drawn(measured):
    assert drawn(measured=measured, power=Curve("power", [0.0], [0.0])).tag == f"{SVG}svg"


def test_a_gap_stays_open():
    values = np.where((SECONDS > 100) & (SECONDS < 200), np.nan, 50.0)
    root = drawn(measured=[Curve("edge", SECONDS, values)])
    [line] = [path for path in root.iter(f"{SVG}path") if "width: 1.7" in path.get("style", "")]
    assert line.get("d", "").count("M") == 2


def test_the_same_run_gives_the_same_picture():
    one, other = (run_chart_svg(Chart([course("edge")])) for _ in range(2))
    assert one == other


def test_a_stage_without_room_keeps_its_number_or_nothing():
    bands = [Band("1 ramp to ninety", 0, 280, "1"), Band("2 hold", 280, 290, "2"),
             Band("3 wait", 290, 291, "3")]  # fmt: skip
    said = texts(drawn(measured=[course("edge")], stages=bands))
    assert "1 ramp to ninety" in said and "2" in said
    assert "2 hold" not in said and "3 wait" not in said and "3" in said
    crowd = [Band(f"{n} wait", 100 + n, 101 + n, str(n)) for n in range(1, 9)]
    said = texts(drawn(measured=[course("edge")], stages=[Band("0 ramp", 0, 101, "0"), *crowd]))
    shown = [n for n in range(1, 9) if str(n) in said]
    assert shown and all(b - a > 2 for a, b in zip(shown, shown[1:], strict=False))


def test_a_short_wait_in_a_long_run_is_labelled():
    """20 s of 21 min, as a script answers: about one and a half letters wide."""
    bands = [Band("1 ramp", 0, 600, "1"), Band("2 wait", 600, 620, "2"),
             Band("3 hold", 620, 1260, "3")]  # fmt: skip
    assert "2" in texts(drawn(measured=[course("edge")], stages=bands))


def test_the_caption_names_every_line_as_it_is_drawn():
    chart = Chart([course("top_near_chip"), course("edge")], asked=course("asked for"))
    said = caption_of(chart)
    assert said.startswith(
        "Orange: top_near_chip; blue dashed: edge; dotted, in the colour of the text: asked for."
    )
    assert "Thin vertical lines: the numbered events" in said
    assert len(charts.COLOUR_NAMES) == len(charts.COLOURS)
    assert len(set(charts.STYLE_NAMES)) == len(charts.LINE_STYLES)


def test_what_was_asked_for_looks_like_no_event():
    root = drawn(measured=[], asked=course("asked for"), events=[Mark("1", 100)])
    asked = [style for style in strokes(root) if "width: 1.6" in style]
    event = [style for style in strokes(root) if "width: 0.6" in style and "opacity: 0.3" in style]
    assert len(asked) == len(event) == 1
    assert "dasharray" in asked[0] and "dasharray" not in event[0]


# what a person did

SESSION = [Flag("flux on", 40), Flag("nozzle on", 200), Flag("solder moves", 222),
           Flag("chip off", 225), Flag("air away", 228)]  # fmt: skip


def places_of(root):
    """Return {text: (left, right, bottom)} in points, by the real widths of matplotlib's font."""
    found = {}
    for text in root.iter(f"{SVG}text"):
        said, style = "".join(text.itertext()), text.get("style", "")
        moved = re.match(r"translate\(([\d.]+) ([\d.]+)\)", text.get("transform", ""))
        x, y = moved.groups() if moved else (text.get("x"), text.get("y"))
        if x and said.strip():
            size = float(re.search(r"font-size: ([\d.]+)px", style)[1])
            wide = TextPath((0, 0), said, size=size).get_extents().x1
            anchor = re.search(r"text-anchor: (\w+)", style)
            before = {"start": 0, "middle": wide / 2, "end": wide}[anchor[1] if anchor else "start"]
            found[said] = (float(x) - before, float(x) - before + wide, float(y))
    return found


def flag_lines(root):
    """Return (x, top) of each flag's line."""
    lines = []
    for path in root.iter(f"{SVG}path"):
        if f"stroke-width: {FLAG_WIDTH}" in path.get("style", ""):
            xs, ys = np.array(re.findall(r"[ML] ([\d.]+) ([\d.]+)", path.get("d")), float).T
            lines.append((xs[0], ys.min()))
    return sorted(lines)


def test_flags_have_their_lines_and_words():
    root = drawn(measured=[course("edge")], flags=SESSION)
    assert {flag.label for flag in SESSION} <= set(texts(root))
    assert len(flag_lines(root)) == len(SESSION)


def test_words_of_flags_cover_neither_each_other_nor_a_line():
    root = drawn(measured=[course("edge"), course("chip", 60)], asked=course("asked for"),
                 flags=SESSION)  # fmt: skip
    places = places_of(root)
    boxes = [places[flag.label] for flag in SESSION]
    for number, (left, right, y) in enumerate(boxes):
        for other_left, other_right, other_y in boxes[number + 1 :]:
            assert abs(y - other_y) > 9 or right < other_left or other_right < left
        for x, top in flag_lines(root):
            assert not (left < x < right and top < y), "a line through words"


def test_words_of_flags_stand_above_every_curve_and_event():
    events = [Mark(str(number), 20.0 * number) for number in range(1, 14)]
    root = drawn(measured=[course("edge"), course("chip", 60)], flags=SESSION, events=events)
    lowest = max(places_of(root)[flag.label][2] for flag in SESSION)  # SVG counts downwards
    curves = [path for path in root.iter(f"{SVG}path") if "width: 1.7" in path.get("style", "")]
    tops = [
        min(map(float, re.findall(r"[ML] [\d.]+ ([\d.]+)", curve.get("d")))) for curve in curves
    ]
    assert lowest < min(tops)


def test_more_flags_than_there_is_room_for_keep_their_lines():
    crowd = [Flag(f"note {n}", 100 + n / 10) for n in range(40)]
    root = drawn(measured=[course("edge")], flags=crowd)
    shown = [flag for flag in crowd if flag.label in texts(root)]
    assert len(shown) == MOST_ROWS and len(flag_lines(root)) == 40


def test_words_of_a_flag_at_the_right_edge_stay_in_the_picture():
    root = drawn(measured=[course("edge")], flags=[Flag("solder moves, at last", 299)])
    width = float(root.get("viewBox").split()[2])
    assert places_of(root)["solder moves, at last"][1] < width


def test_hot_air_and_holding_are_hatched_apart():
    """By hatch, not by colour: black-and-white paper shows them too."""
    root = drawn(measured=[course("edge")],
                 spans=[Span("hot air", 200, 260), Span("held", 20, 60)])  # fmt: skip
    patterns = {pattern.get("id") for pattern in root.iter(f"{SVG}pattern")}
    used = {
        re.search(r"fill: url\(#(\w+)\)", path.get("style", "")) for path in root.iter(f"{SVG}path")
    }
    assert len(patterns) == 2 and {found[1] for found in used if found} == patterns
    assert "hot air" in texts(root)
    short = drawn(measured=[course("edge")], spans=[Span("hot air", 200, 203)])
    assert "hot air" not in texts(short), "no room for the words: the caption has them"


def test_the_caption_tells_what_a_person_did_only_where_there_is_something():
    plain = Chart([course("edge")])
    assert "person" not in caption_of(plain) and "Hatched" not in caption_of(plain)
    chart = Chart([course("edge")], flags=SESSION, spans=[Span("hot air", 1, 2)])
    said = caption_of(chart)
    assert "Strong vertical lines" in said and "hot air from above was on" in said
    assert "held the temperature" not in said
    with_role = Chart([Curve("bga", SECONDS, SECONDS, "chip top")])
    assert caption_of(with_role).startswith("Orange: bga (chip top).")


def test_a_curve_is_named_with_its_role():
    measured = [Curve(f"sensor_{n}", SECONDS, SECONDS / 5 + n, "neighbour") for n in range(8)]
    root = drawn(measured=measured)
    assert texts(root).count("neighbour") == 8
    places = sorted(y for said, (_l, _r, y) in places_of(root).items() if said.startswith("sensor"))
    assert len(places) == 8 and min(np.diff(places)) > 20, "two lines of 9 pt"


def test_what_was_asked_for_is_named_beside_the_lines_of_flags():
    asked = Curve("asked for", SECONDS[:460], np.full(460, 60.0))  # heat ends at 229.5 s
    places = places_of(drawn(measured=[course("edge")], asked=asked, flags=SESSION))
    left, right, _y = places["asked for"]
    lines = [x for x, _top in flag_lines(drawn(measured=[course("edge")], flags=SESSION))]
    assert not any(left < x < right for x in lines)


def test_no_display_is_touched():
    code = "import sys, emberbed.report.chart; sys.exit('matplotlib.pyplot' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code]).returncode == 0


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
