"""The panel's rows one by one, small terminals, the bell and the keys."""

from io import StringIO

import pytest
from rich.console import Console

from emberbed.bench import panel_rows
from emberbed.bench.calls import PRESS_TEXT, RELEASE_TEXT, call_of
from emberbed.bench.panel import LivePanel
from emberbed.bench.panel_fit import KEPT_LONGEST, fit
from emberbed.bench.panel_keys import keys_of, lines_of
from emberbed.bench.plain_lines import PlainLines
from emberbed.bench.touch_answer import touch_text
from emberbed_fw import record as layout
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.units import NO_READING_CDEG
from tests.host.bench.drawn_panel import MOMENTS, console_of, shown, story_of
from tests.support.tapes import rehearsed

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
    assert called(story) is None, "a press would not count yet"
    story.follow(waits._replace(port_flags=layout.PORT_BUTTON))
    assert called(story).text == RELEASE_TEXT
    story.follow(COLD._replace(waits_for=rs.WAITS_PRESS))
    assert called(story).text == PRESS_TEXT
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
