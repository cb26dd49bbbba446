"""What a person did stands in the chart, and no words cover anything."""

import re
import subprocess
import sys

import numpy as np
from matplotlib.textpath import TextPath

from emberbed.report.chart_caption import caption_of
from emberbed.report.chart_flags import FLAG_WIDTH, MOST_ROWS
from emberbed.report.chart_model import Chart, Curve, Flag, Mark, Span
from tests.host.report.drawn import SECONDS, SVG, course, drawn, texts

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
