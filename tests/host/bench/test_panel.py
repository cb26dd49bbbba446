"""The live panel as text, drawn by rich in two widths; and its rows one by one."""

import re
from io import BytesIO, StringIO, TextIOWrapper

import pytest
from rich.console import Console

from emberbed.bench import panel_rows
from emberbed.bench.panel import KEPT_EVENTS, LivePanel
from emberbed.bench.story import PRESS_TEXT, Story
from emberbed.profiles.compile import decode_plan
from emberbed_fw import record as layout
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.units import NO_READING_CDEG, NONE
from tests.support.tapes import rehearsed

INNER_WORDS = ("lease", "plan", "knot", "digest", "shadow", "q15", "cdeg")
WIDTHS = (80, 120)


def story_of(rehearsal):
    plan = decode_plan(rehearsal.prepared.plan)
    return Story(plan, rehearsal.prepared.prompts, rehearsal.names())


def console_of(width):
    return Console(
        file=StringIO(),
        width=width,
        height=40,
        record=True,
        force_terminal=True,
        legacy_windows=False,
    )


def shown(rehearsal, width, until, title="Label printer main board, 27 mm BGA · run 7"):
    """Play a tape up to the first record for which `until` is true; return (lines, record)."""
    console, story = console_of(width), story_of(rehearsal)
    screen = LivePanel(console, story, title, virtual=True)
    for record in rehearsal.records:
        for kind, sentence in story.follow(record):
            screen.tell(record.tick, kind, sentence)
        screen.show(record)
        if until(record):
            break
    console.print(screen.panel(record))
    return console.export_text().rstrip("\n").split("\n"), record


MOMENTS = {
    "press": lambda one: one.waits_for == rs.WAITS_PRESS,
    "ramp": lambda one: one.stage == 0 and one.stage_elapsed == 900,
    "prompt": lambda one: one.prompt != NONE,
    "long prompt": lambda one: one.stage == 7 and one.prompt != NONE,
    "cooling": lambda one: one.state == rs.COOL and one.stage_elapsed == 600,
    "end": lambda one: one.state == rs.FINISHED,
}


@pytest.fixture(scope="module", params=WIDTHS)
def width(request):
    return request.param


@pytest.fixture(scope="module")
def screens(width):
    return {name: shown(rehearsed(), width, until)[0] for name, until in MOMENTS.items()}


@pytest.fixture(scope="module")
def tripped(width):
    """The panel a minute after a couple broke."""
    broken = rehearsed("label-printer", "tc_open@100s")
    return shown(broken, width, lambda one: one.state == rs.COOL and one.stage_elapsed == 600)


def test_it_never_changes_its_height(screens):
    assert len({len(lines) for lines in screens.values()}) == 1


def test_no_line_is_wider_than_the_terminal_and_none_is_wrapped(screens, width):
    for lines in screens.values():
        assert {len(line) for line in lines} == {width}
        labels = [line[2:9].strip() for line in lines[2:8]]
        assert labels == ["Board", "Now", "Waiting", "Next", "Heater", "Touch"]


def test_no_inner_word_is_shown(screens, tripped):
    for lines in [*screens.values(), tripped[0]]:
        text = "\n".join(lines).lower()
        assert not [word for word in INNER_WORDS if word in text]


def test_the_press_is_called_for_with_its_key(screens):
    text = "\n".join(screens["press"])
    assert PRESS_TEXT in screens["press"][1]
    assert "B: hold the virtual device's button" in screens["press"][-1]
    assert "for the button to be held for a second" in text
    assert "yes; the heater below may be hotter" in text


def test_a_ramp_shows_board_setpoint_stage_and_time_left(screens):
    text = "\n".join(screens["ramp"])
    assert "asked for" in text
    assert "stage 1 of 9: ramp to 87 °C" in text
    assert "min left" in text
    assert "hold 87 °C for 3:00 min" in text
    assert "no: it heats" in text
    assert "▁" in text and "·" in text


def test_a_prompt_is_on_top_with_its_key(screens):
    assert "Apply flux along two sides of the chip" in screens["prompt"][1]
    assert "Enter: done" in screens["prompt"][-1]
    assert "answer within 10:00 min" in "\n".join(screens["prompt"])
    assert "take it away" in screens["long prompt"][1]


def test_cooling_says_when_it_may_be_touched(screens):
    text = "\n".join(screens["cooling"])
    assert "no: wait until it is below 50 °C" in text
    assert "for the board to cool" in text
    assert "Ctrl-C twice: leave, heat stays off" in screens["cooling"][-1]


def test_the_last_picture_offers_no_keys_and_waits_for_nothing(screens):
    lines = screens["end"]
    assert "Ctrl-C" not in lines[-1]
    assert "finished" in "\n".join(lines)
    assert lines[4].strip("│ ").split(None, 1) == ["Waiting", "no"]


def test_a_trip_is_told_whole_and_above_everything(tripped, width):
    lines, _record = tripped
    told = " ".join(line.strip("│ ") for line in lines[1:5])
    assert told.startswith("The thermocouple of the sensor top_near_chip is open")
    assert "fix the bead to the board again, then start a new run." in told
    text = "\n".join(lines)
    assert "no reading" in text
    assert "no: not every sensor reads" in text
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
    assert len(told) == KEPT_EVENTS


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


# rows

RECORD = next(one for one in rehearsed().records if MOMENTS["ramp"](one))
COLD = rehearsed().records[0]


@pytest.mark.parametrize(
    ("changes", "channels", "says"),
    [
        (dict(state=rs.IDLE, channel0_cdeg=2300, channel1_cdeg=2300), [0, 1], "yes"),
        (dict(state=rs.HOT_PROOF, channel0_cdeg=2300, channel1_cdeg=2300), [0, 1], "no: it heats"),
        (dict(state=rs.RUN, channel0_cdeg=2300, channel1_cdeg=2300), [0, 1], "no: it heats"),
        (dict(state=rs.WAIT, channel0_cdeg=8700, channel1_cdeg=8600), [0, 1], "tools only, and"),
        (dict(state=rs.COOL, channel0_cdeg=4000, channel1_cdeg=4000), [0, 1], "not yet"),
        (dict(state=rs.COOL, channel0_cdeg=5000, channel1_cdeg=4000), [0, 1], "no: wait"),
        (dict(state=rs.FINISHED, channel0_cdeg=4999, channel1_cdeg=4000), [0, 1], "tools only; "),
        (dict(state=rs.FINISHED, channel0_cdeg=4299, channel1_cdeg=4200), [0, 1], "yes"),
        (dict(state=rs.FINISHED, channel0_cdeg=2300, channel1_cdeg=NO_READING_CDEG), [0, 1], "no:"),
        (dict(state=rs.FINISHED, channel0_cdeg=2300, channel1_cdeg=NO_READING_CDEG), [0], "yes"),
        (dict(state=rs.IDLE), [], "no:"),
    ],
)
def test_touching(changes, channels, says):
    text = panel_rows.touch_text(COLD._replace(**changes), channels).plain
    assert text.startswith(says)


def rows(record):
    return {name: text.plain for name, text in panel_rows.rows_of(record, story_of(rehearsed()), 0)}


def test_power_that_is_held_off_says_why():
    doubtful = RECORD._replace(withheld=trip_codes.WITHHELD_SENSOR)
    assert rows(doubtful)["Heater"].endswith("held off: a sensor is in doubt")
    assert "held off" not in rows(RECORD)["Heater"]
    off = RECORD._replace(state=rs.COOL, withheld=trip_codes.WITHHELD_STATE)
    assert "held off" not in rows(off)["Heater"]


def test_full_power_and_none():
    full = RECORD._replace(demand0_q15=32768, energy_j=3_600_000, outputs=layout.OUT_FAN)
    assert rows(full)["Heater"] == f"100 % {'■' * 20}   1000 Wh so far   fan on"
    assert rows(RECORD._replace(demand0_q15=0))["Heater"].startswith("  0 % " + "·" * 20)


def test_the_button_that_is_still_down_is_asked_back():
    story = story_of(rehearsed())
    waits = COLD._replace(waits_for=rs.WAITS_RELEASE)
    assert panel_rows.call_of(waits, story).plain.strip() == PRESS_TEXT
    down = waits._replace(port_flags=layout.PORT_BUTTON)
    assert panel_rows.call_of(down, story).plain.strip() == panel_rows.RELEASE_TEXT
    assert panel_rows.call_of(COLD._replace(waits_for=rs.WAITS_NOTHING), story) is None


@pytest.mark.parametrize(
    ("record", "virtual", "stops", "keys"),
    [
        (RECORD, False, 0, "Ctrl-C: heat off"),
        (RECORD._replace(prompt=0), False, 0, "Enter: done   Ctrl-C: heat off"),
        (RECORD._replace(verdict=rs.STOPPED), True, 1, "Ctrl-C: leave, heat stays off"),
        (RECORD._replace(verdict=rs.TRIPPED), True, 0, "Ctrl-C twice: leave, heat stays off"),
        (COLD._replace(state=rs.COLD_PROOF), False, 0, "Ctrl-C: heat off"),
        (RECORD._replace(state=rs.FINISHED), True, 0, ""),
    ],
)
def test_keys(record, virtual, stops, keys):
    assert panel_rows.keys_of(record, virtual, stops) == keys
