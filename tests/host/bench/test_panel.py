"""The live panel as text, drawn by rich in two widths; and its rows one by one."""

import re
from io import BytesIO, StringIO, TextIOWrapper

import pytest
from rich.console import Console

from emberbed.bench import panel_rows
from emberbed.bench.calls import PRESS_TEXT, RELEASE_TEXT, call_of
from emberbed.bench.panel import LivePanel
from emberbed.bench.panel_fit import EVENT_ROWS, KEPT_LONGEST, fit
from emberbed.bench.panel_keys import keys_of, lines_of
from emberbed.bench.plain_lines import PlainLines
from emberbed.bench.story import Story
from emberbed.bench.touch_answer import touch_text
from emberbed.profiles.compile import decode_plan
from emberbed_fw import record as layout
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.units import NO_READING_CDEG, NONE
from tests.support.tapes import rehearsed

INNER_WORDS = ("lease", "plan", "knot", "digest", "shadow", "q15", "cdeg")
WIDTHS = (80, 120)


def story_of(rehearsal):
    plan = decode_plan(rehearsal.prepared.plan)
    return Story(plan, rehearsal.prepared.prompts, rehearsal.names())


def console_of(width, height=40):
    return Console(
        file=StringIO(),
        width=width,
        height=height,
        record=True,
        force_terminal=True,
        legacy_windows=False,
    )


TITLE = "Label printer main board, 27 mm BGA · run 7"


def shown(rehearsal, width, until, title=TITLE, height=40):
    """Play a tape up to the first record for which `until` is true; return (lines, record)."""
    console, story = console_of(width, height), story_of(rehearsal)
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


# rows

RECORD = next(one for one in rehearsed().records if MOMENTS["ramp"](one))
COLD = rehearsed().records[0]


@pytest.mark.parametrize(
    ("changes", "channels", "says"),
    [
        (dict(state=rs.IDLE, channel0_cdeg=2300, channel1_cdeg=2300), [0, 1], "bare hands"),
        (dict(state=rs.HOT_PROOF, channel0_cdeg=2300, channel1_cdeg=2300), [0, 1], "leave it: it"),
        (dict(state=rs.RUN, channel0_cdeg=2300, channel1_cdeg=2300), [0, 1], "leave it: it heats"),
        (dict(state=rs.COOL, channel0_cdeg=4000, channel1_cdeg=4000), [0, 1], "leave it: heat"),
        (dict(state=rs.COOL, channel0_cdeg=5000, channel1_cdeg=4000), [0, 1], "leave it until"),
        (dict(state=rs.FINISHED, channel0_cdeg=4999, channel1_cdeg=4000), [0, 1], "tools; bare"),
        (dict(state=rs.COOL, verdict=rs.STOPPED, energy_j=0), [0, 1], "bare hands"),
        (dict(state=rs.COOL, verdict=rs.STOPPED, energy_j=1), [0, 1], "leave it: heat"),
        (dict(state=rs.TRIPPED, trip=trip_codes.HEAT_UNCOMMANDED), [0, 1], "leave it: pull"),
        (dict(state=rs.FINISHED, channel0_cdeg=4299, channel1_cdeg=4200), [0, 1], "bare hands"),
        (dict(state=rs.FINISHED, channel0_cdeg=2300, channel1_cdeg=NO_READING_CDEG), [0, 1],
         "leave it: not"),
        (dict(state=rs.FINISHED, channel0_cdeg=2300, channel1_cdeg=NO_READING_CDEG), [0],
         "bare hands"),
        (dict(state=rs.IDLE), [], "leave it: not"),
        # what goes on after a trip begins with a hot board: nothing heated yet is not cold
        (dict(state=rs.COOL, verdict=rs.STOPPED, channel0_cdeg=9000), [0, 1], "leave it until"),
    ],
)  # fmt: skip
def test_touching(changes, channels, says):
    assert touch_text(COLD._replace(**changes), channels, []).plain.startswith(says)


def test_touching_while_at_work_is_for_tools():
    hot = COLD._replace(state=rs.WAIT, channel0_cdeg=8700, channel1_cdeg=8600)
    assert touch_text(hot, [0, 1], [], works=True).plain.startswith("tools only, for what is asked")


@pytest.mark.parametrize(
    ("changes", "emitters", "says"),
    [
        (dict(energy_j=1), [], "heater still hot"),
        (dict(energy_j=0), [], "the heater may be hot"),  # of a run before, nobody knows
        (dict(energy_j=0, channel0_cdeg=9000), [], "heater still hot"),
        (dict(energy_j=1, channel1_cdeg=20000), [1], "heater still hot"),
        (dict(energy_j=1, channel1_cdeg=3000), [1], ""),
    ],
)
def test_the_heater_is_told_apart_from_the_board(changes, emitters, says):
    record = COLD._replace(state=rs.FINISHED, **changes)
    text = touch_text(record, [0], emitters).plain
    assert text.endswith(f"   {says}") if says else "heater" not in text
    assert "heater still" not in touch_text(record._replace(state=rs.RUN), [0], emitters).plain


def at(record):
    """Return a story that has followed up to this record."""
    story = story_of(rehearsed())
    story.follow(record._replace(tick=record.tick - 1))
    story.follow(record)
    return story


def rows(record):
    return {name: text.plain for name, text in panel_rows.rows_of(record, at(record))}


def test_warnings_of_the_device_stand_in_one_line():
    assert rows(RECORD._replace(warnings=0))["Guard"] == "nothing to tell"
    both = trip_codes.WARN_NOT_IDENTIFIED | trip_codes.WARN_SECOND_SWITCH
    told = rows(RECORD._replace(warnings=both | trip_codes.NOTE_RESTED))["Guard"]
    assert told == "heater not identified, second switch not proved"


def test_power_that_is_held_off_says_why():
    doubtful = RECORD._replace(withheld=trip_codes.WITHHELD_SENSOR)
    assert rows(doubtful)["Heater"].endswith("held off: a sensor is in doubt")
    assert "held off" not in rows(RECORD)["Heater"]
    off = RECORD._replace(state=rs.COOL, withheld=trip_codes.WITHHELD_STATE)
    assert "held off" not in rows(off)["Heater"]


STUCK = (trip_codes.HEAT_UNCOMMANDED, trip_codes.CONTACTOR_STUCK_CLOSED)


@pytest.mark.parametrize("field", ["trip", "second_trip"])
@pytest.mark.parametrize("code", STUCK)
@pytest.mark.parametrize("state", [rs.COOL, rs.TRIPPED])
def test_a_stuck_switch_wants_the_mains_plug_and_looks_unsafe(state, code, field):
    tripped = COLD._replace(state=state, verdict=rs.TRIPPED, trip=trip_codes.SENSOR_OPEN)
    tripped = tripped._replace(**{field: code})
    assert rows(tripped)["Next"] == "pull the mains plug now"
    assert rows(tripped)["Heater"].startswith("no current now, but not safe: ")
    flows = tripped._replace(port_flags=layout.PORT_HEAT_CURRENT)
    assert rows(flows)["Heater"] == "told off, but current flows"
    assert rows(flows)["Touch"] == "leave it: pull the mains plug first"


def test_current_of_the_tick_before_is_no_stuck_switch():
    flows = RECORD._replace(port_flags=layout.PORT_HEAT_CURRENT, driven_zones=0)
    assert "current flows" not in rows(flows)["Heater"]
    cooling = flows._replace(state=rs.COOL, stage_elapsed=1, verdict=rs.STOPPED)
    assert "current flows" not in rows(cooling)["Heater"]
    assert rows(cooling._replace(stage_elapsed=2))["Heater"] == "told off, but current flows"


def test_a_run_stopped_before_heat_says_so():
    stopped = COLD._replace(state=rs.COOL, verdict=rs.STOPPED, stage=8, waits_for=rs.WAITS_COOLING)
    said = rows(stopped)
    assert said["Now"] == "Stopped before heating: nothing was heated."
    assert (said["Waiting"], said["Next"]) == ("for nobody", "look at the run's page")


# small terminals


@pytest.mark.parametrize(("width", "height"), [(60, 14), (80, 24), (60, 9), (40, 14), (100, 34)])
@pytest.mark.parametrize("moment", ["press", "prompt", "cooling", "tripped"])
def test_a_small_terminal_keeps_clock_call_and_keys(width, height, moment):
    rehearsal, until = rehearsed(), MOMENTS.get(moment)
    if until is None:
        rehearsal = rehearsed("label-printer", "ssr_stuck_on@100s")
        until = MOMENTS["cooling"]
    lines, _record = shown(rehearsal, width, until, height=height)
    assert len(lines) <= height
    assert "Ctrl-C" in lines[-1]
    assert "0:0" in lines[0] or "since the press" in lines[0]
    text = " ".join(line.strip("│ ") for line in lines)
    called = {"press": PRESS_TEXT, "prompt": "Apply flux along two sides of the chip"}
    assert called.get(moment, "") in text
    assert "Touch" in text
    if moment == "tripped":
        assert "Pull the mains plug now, and have the switch replaced before" in text


def test_the_curve_goes_before_old_events_and_these_before_the_rows():
    # rows, keys, events, curve
    assert fit(100) == (8, 2, 4, 6)
    assert fit(20) == (8, 2, 4, 5)  # 24 lines less the frame, a banner of one line, and one spare
    assert fit(17) == (8, 2, 4, 2)
    assert fit(16) == (8, 2, 4, 0)
    assert fit(11) == (8, 2, 1, 0)
    assert fit(9) == (8, 1, 0, 0)
    assert fit(5) == (5, 0, 0, 0)
    assert fit(-3) == (1, 0, 0, 0)
    assert len(KEPT_LONGEST) == len(rows(COLD)) and set(KEPT_LONGEST) == set(rows(COLD))


def test_the_newest_event_is_wrapped_and_not_cut():
    rehearsal = rehearsed()
    console, story = console_of(60), story_of(rehearsal)
    screen = LivePanel(console, story, "x")
    long = "Stop asked for: heat off, the cooling is still recorded. Ctrl-C again leaves."
    for sentence in (long.replace("Stop", "Older"), long):
        screen.tell(1, "stop", sentence)
    console.print(screen.panel(rehearsal.records[-1]))
    text = " ".join(line.strip("│ ") for line in console.export_text().split("\n"))
    assert long in text
    assert "Older asked for" in text and "…" in text


# the bell


@pytest.mark.parametrize(
    ("kind", "quiet", "terminal", "rings"),
    [
        ("prompt", False, True, 1),
        ("trip", False, True, 1),
        ("trip", True, True, 0),
        ("trip", False, False, 0),
        ("stage", False, True, 0),
    ],
)
def test_the_bell(kind, quiet, terminal, rings):
    for screen_of in (
        lambda console, story: LivePanel(console, story, "x", quiet=quiet),
        lambda console, story: PlainLines(console, story, quiet=quiet),
    ):
        out = StringIO()
        console = Console(file=out, force_terminal=terminal, width=80)
        screen_of(console, story_of(rehearsed())).tell(1, kind, "Something.")
        assert out.getvalue().count("\a") == rings


def test_full_power_and_none():
    full = RECORD._replace(demand0_q15=32768, energy_j=3_600_000, outputs=layout.OUT_FAN)
    assert rows(full)["Heater"] == f"100 % {'■' * 20}   1000 Wh so far   fan on"
    assert rows(RECORD._replace(demand0_q15=0))["Heater"].startswith("  0 % " + "·" * 20)


def called(story):
    return call_of(story.progress, story.prompts, story.names)


def test_the_button_that_is_still_down_is_asked_back():
    story = story_of(rehearsed())
    waits = COLD._replace(waits_for=rs.WAITS_RELEASE)
    story.follow(waits)
    assert called(story).text == PRESS_TEXT
    story.follow(waits._replace(port_flags=layout.PORT_BUTTON))
    assert called(story).text == RELEASE_TEXT
    story.follow(COLD._replace(waits_for=rs.WAITS_NOTHING))
    assert called(story) is None


@pytest.mark.parametrize(
    ("record", "virtual", "stops", "keys"),
    [
        (RECORD, False, 0, "Ctrl-C: heat off"),
        (RECORD._replace(prompt=0), False, 0, "Ctrl-C: heat off   Enter: done"),
        (RECORD._replace(verdict=rs.STOPPED), True, 1, "Ctrl-C: leave, heat stays off"),
        (RECORD._replace(verdict=rs.TRIPPED), True, 0, "Ctrl-C twice: leave, heat stays off"),
        (COLD._replace(waits_for=rs.WAITS_PRESS), False, 0, "Ctrl-C: heat off"),
        (
            COLD._replace(waits_for=rs.WAITS_PRESS),
            True,
            0,
            "Ctrl-C: heat off   B: hold the virtual device's button",
        ),
        (COLD._replace(waits_for=rs.WAITS_SENSORS), True, 0, "Ctrl-C: heat off"),
        (
            RECORD._replace(prompt=AIR_AWAY_PROMPT),
            False,
            0,
            "Ctrl-C: heat off   Enter: air is away",
        ),
        (RECORD._replace(waits_for=rs.WAITS_HELD), False, 0, "Ctrl-C: heat off   Enter: go on"),
        (RECORD._replace(state=rs.FINISHED), True, 0, ""),
    ],
)
def test_keys(record, virtual, stops, keys):
    assert keys_of(record, at(record).progress, virtual, stops) == keys


def test_keys_are_broken_between_two_and_what_does_not_fit_is_left_out():
    hints = ["M: mark", "H: hold here", "C: cool down", "S: smoke, heat off", "A: hot air on"]
    assert lines_of(hints, 40, 2) == [
        "M: mark   H: hold here   C: cool down", "S: smoke, heat off   A: hot air on",
    ]  # fmt: skip
    assert lines_of(hints, 40, 1) == ["M: mark   H: hold here   C: cool down"]
    assert lines_of([], 40, 2) == ["", ""]
    assert lines_of(["much too long for this"], 10, 2) == ["", ""]
