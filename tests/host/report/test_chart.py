"""The chart is valid SVG, keeps its curves apart, and lets no name break it."""

import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest

from emberbed.report import chart as charts
from emberbed.report.chart import run_chart_svg
from emberbed.report.chart_caption import caption_of
from emberbed.report.chart_model import INK, Band, Chart, Curve, Mark
from tests.host.report.drawn import SECONDS, SVG, course, drawn, strokes, texts


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
