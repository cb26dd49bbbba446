"""The live panel as text, drawn by rich in two widths."""

import re
from io import BytesIO, StringIO, TextIOWrapper

import pytest
from rich.console import Console

from emberbed.bench.calls import PRESS_TEXT
from emberbed.bench.panel import LivePanel
from emberbed.bench.panel_fit import EVENT_ROWS
from emberbed_fw import run_states as rs
from tests.host.bench.drawn_panel import MOMENTS, console_of, shown, story_of
from tests.support.tapes import rehearsed

INNER_WORDS = ("lease", "plan", "knot", "digest", "shadow", "q15", "cdeg")


@pytest.fixture(scope="module")
def screens(width):
    return {name: shown(rehearsed(), width, until)[0] for name, until in MOMENTS.items()}


def test_it_never_changes_its_height(screens):
    assert len({len(lines) for lines in screens.values()}) == 1


def test_no_line_is_wider_than_the_terminal_and_none_is_wrapped(screens, width):
    for lines in screens.values():
        assert {len(line) for line in lines} == {width}
        labels = [line[2:9].strip() for line in lines[2:10]]
        assert labels == ["Board", "Now", "Waiting", "Next", "Heater", "Guard", "Marks", "Touch"]


def test_no_inner_word_is_shown(screens, tripped):
    for lines in [*screens.values(), tripped[0]]:
        text = "\n".join(lines).lower()
        assert not [word for word in INNER_WORDS if word in text]


def test_the_press_is_called_for_with_its_key(screens):
    text = "\n".join(screens["press"])
    assert PRESS_TEXT in screens["press"][1]
    assert "B: hold the virtual device's button" in screens["press"][-1]
    assert "for the button to be held for a second" in text
    # FR-4 Tg 150 less 10 °C: the highest that is advised from below, and 5 °C above the peak
    ceiling = "ready, no heat yet; never above 140 °C, whatever is changed"
    assert screens["press"][3].strip("│ ").split(None, 1) == ["Now", ceiling]
    assert "since arming" in screens["press"][0]
    assert "bare hands   the heater may be hot" in text


def test_a_ramp_shows_board_setpoint_stage_and_time_left(screens):
    text = "\n".join(screens["ramp"])
    assert "asked for" in text
    assert "stage 1 of 9: ramp to 87 °C" in text
    # 90 s of the stage and 1.7 s of proving the heater with short pulses
    assert "1:32 since the press · Label printer" in screens["ramp"][0]
    assert text.count("█ board  · asked for") == 1
    assert "min left" in text
    assert "hold 87 °C for 3:00 min" in text
    assert "leave it: it heats" in text
    assert "H: hold here" in text and "S: smoke, heat off" in text
    assert "E: 1 min more" not in text  # a ramp takes the time it takes
    assert "▁" in text and "·" in text


def test_a_prompt_is_on_top_with_its_key(screens):
    assert "Apply flux along two sides of the chip" in screens["prompt"][1]
    assert "Enter: done" in screens["prompt"][-1]
    assert "answer within 10:00 min" in "\n".join(screens["prompt"])
    assert "Bring the hot air over the chip" in screens["long prompt"][1]
    assert "nozzle on" in "\n".join(screens["long prompt"])


def test_cooling_says_when_it_may_be_touched(screens):
    text = "\n".join(screens["cooling"])
    assert "leave it until it is below 50 °C   heater still hot" in text
    assert "for the board to cool" in text
    assert "Ctrl-C twice: leave, heat stays off" in screens["cooling"][-1]


def test_the_last_picture_offers_no_keys_and_waits_for_nothing(screens):
    lines = screens["end"]
    assert "Ctrl-C" not in lines[-1]
    assert "finished" in "\n".join(lines)
    assert lines[4].strip("│ ").split(None, 1) == ["Waiting", "for nobody"]


def test_a_trip_is_told_whole_and_above_everything(tripped, width):
    lines, _record = tripped
    told = " ".join(line.strip("│ ") for line in lines[1:5])
    assert told.startswith("The thermocouple of the sensor top_near_chip is open")
    assert "fix the bead to the board again, then go on or start a new run." in told
    text = "\n".join(lines)
    assert "no reading" in text
    assert "leave it: not every sensor reads" in text
    assert {len(line) for line in lines} == {width}


def test_the_first_cause_stays_on_top():
    rehearsal = rehearsed()
    console, story = console_of(80), story_of(rehearsal)
    screen = LivePanel(console, story, "x")
    screen.tell(1, "trip", "First cause.")
    screen.tell(2, "trip", "And then: another.")
    console.print(screen.panel(rehearsal.records[-1]))
    assert "First cause." in console.export_text().split("\n")[1]


def test_only_the_newest_events_are_kept(screens, width):
    rehearsal = rehearsed()
    lines, _record = shown(rehearsal, width, MOMENTS["end"])
    told = [line for line in lines if any(one[:30] in line for _, _, one in rehearsal.events)]
    assert len(told) == EVENT_ROWS


def test_markup_in_a_profile_is_text_and_colours_nothing():
    rehearsal = rehearsed()
    lines, _record = shown(rehearsal, 80, MOMENTS["press"], title="[red]board[/red] [bold")
    assert "[red]board[/red] [bold" in lines[0]


def test_no_colour_is_shown_to_who_asked_for_none():
    """https://no-color.org: when the variable is set, no colour; bold and inverse may stay."""
    coloured = re.compile(r"\x1b\[(?:\d+;)*(?:3[0-8]|4[0-8]|9[0-7]|10[0-7])[;m]")
    broken = rehearsed("label-printer", "tc_open@100s")
    for wanted in (False, True):
        environment = {"NO_COLOR": "1"} if not wanted else {"TERM": "xterm-256color"}
        out = StringIO()
        console = Console(file=out, width=100, force_terminal=True, _environ=environment)
        screen = LivePanel(console, story_of(broken), "x")
        screen.tell(1, "trip", "Something broke.")
        console.print(screen.panel(broken.records[-1]))
        assert bool(coloured.search(out.getvalue())) == wanted


def test_a_terminal_without_utf_8_gets_a_curve_of_its_own_letters():
    out = TextIOWrapper(BytesIO(), "cp1252", errors="strict", write_through=True)
    console = Console(file=out, width=80, force_terminal=True, legacy_windows=False)
    screen = LivePanel(console, story_of(rehearsed()), "x")
    for record in rehearsed().records[:3000]:
        screen.show(record)
    console.print(screen.panel(record))  # strict: a letter it has not would raise
    shown = out.buffer.getvalue().decode("cp1252")
    assert "####" in shown  # the curve and the bar
    assert "+---" in shown  # the frame


def test_seconds_that_came_in_one_batch_are_all_in_the_curve():
    """At full speed only every tenth record is shown; the curve must not shrink by that."""
    rehearsal = rehearsed()
    story = story_of(rehearsal)
    every, tenth = LivePanel(console_of(80), story, "x"), LivePanel(console_of(80), story, "x")
    heated = [one for one in rehearsal.records if one.state in rs.HEATING_STATES][:2000]
    for n, record in enumerate(heated):
        every.show(record)
        if n % 10 == 7 or n == len(heated) - 1:
            tenth.show(record)
    assert abs(len(every._curve) - len(tenth._curve)) <= 1
    assert len(every._curve) == pytest.approx(200, abs=1)
