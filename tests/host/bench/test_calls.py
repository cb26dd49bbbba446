"""What the person is asked to do, moment by moment, and how the panel shows it in a small terminal.

The moments are those of the firmware itself, fed by hand.
"""

import re
from io import StringIO

import pytest
from rich.console import Console

from emberbed.bench import panel_rows
from emberbed.bench.calls import call_of
from emberbed.bench.panel import LivePanel
from emberbed_fw import messages
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from tests.host.bench import moments
from tests.host.bench.moments import NAMES, PROMPTS, story_of


def lifted():
    bench = moments.second_ramp()
    bench.tick(50)
    bench.board_c = [bench.board_c[0], 30.0]
    bench.tick(20)
    return bench


def open_couple_mended():
    """Tripped in the hold at 60 degC, mended since, and the device asks whether to go on."""
    bench = moments.first_hold()
    bench.raw[1] = 0x00011901  # OPEN_WORD of tests/support/bench.py
    bench.until(rs.COOL, 10)
    bench.raw.clear()
    bench.tick(150)
    assert bench.record.prompt == 252  # GO_ON_PROMPT
    return bench


def link_back():
    bench = moments.first_hold()
    bench.renews = False
    bench.until(rs.COOL, 40)
    bench.renews = True
    bench.tick(150)
    return bench


def held_for_long():
    """Held at 60 degC until the device asks: it does after the stage's longest time."""
    bench = moments.held()
    bench.tick(1830)
    return bench


def air_for_long():
    bench = moments.air_on()
    bench.tick(2410)
    return bench


def half_a_minute_ahead():
    bench = moments.first_hold()
    bench.tick(moments.HOLD_TICKS - 250)
    return bench


CALLS = [
    (moments.first_ramp, None),
    (moments.armed, "Hold the button on the device for a second to start heating"),
    (moments.flux_wait, "Apply flux along two sides of the chip"),
    (half_a_minute_ahead, "In 25 s you are needed: Apply flux along two sides of the chip"),
    (moments.stuck, "Stuck at 60 of 80 °C: N next stage, Enter wait, C cool"),
    (held_for_long, "Held at 60 °C for long: H go on, Enter hold longer, C cool"),
    (moments.air_asked, "Bring the hot air over the chip"),
    (moments.air_on, "Hot air is on, Enter when it is away: 4:00 min left"),
    (air_for_long,
     "Hot air has been on for 4:02 min: M air is away, Enter more time, C cool"),
    (lifted, "Press the sensor down: edge"),
    (open_couple_mended,
     "Sensor reads again. Go on from 60 °C with stage 2? Enter, then hold the button"),
    (link_back, "The PC link is back. Go on from 60 °C with stage 2? Enter, then hold the button"),
    (moments.cooling, None),
    (moments.cooling_waits_for_fan, "F once the solder is solid: the fan waits for you"),
]  # fmt: skip
NAMED = {"argvalues": CALLS, "ids": [moment.__name__ for moment, _text in CALLS]}


@pytest.mark.parametrize(("moment", "text"), **NAMED)
def test_each_moment_has_its_call(moment, text):
    story = story_of(moment())
    call = call_of(story.progress, PROMPTS, NAMES)
    assert (call.text if call else None) == text


def test_a_lifting_bead_is_urgent_and_a_call_ahead_is_not_yet_needed():
    urgent = call_of(story_of(lifted()).progress, PROMPTS, NAMES)
    ahead = call_of(story_of(half_a_minute_ahead()).progress, PROMPTS, NAMES)
    assert (urgent.urgent, urgent.needed) == (True, True)
    assert (ahead.urgent, ahead.needed) == (False, False)


@pytest.mark.parametrize(("moment", "text"), **NAMED)
@pytest.mark.parametrize(("width", "height"), [(80, 24), (100, 34)])
def test_every_moment_fits_and_keeps_call_rows_and_keys(moment, text, width, height):
    bench = moment()
    story = story_of(bench)
    console = Console(
        file=StringIO(), width=width, height=height, record=True, force_terminal=True,
        legacy_windows=False,
    )  # fmt: skip
    screen = LivePanel(console, story, "Label printer main board, 27 mm BGA · run 7", virtual=True)
    for n in range(4):
        screen.tell(bench.machine.tick, "stage", f"Something that happened, number {n}.")
    screen.show(bench.record)
    console.print(screen.panel(bench.record))
    lines = console.export_text().rstrip("\n").split("\n")
    assert len(lines) <= height
    assert {len(line) for line in lines} == {width}
    told = " ".join(line.strip("│ ") for line in lines)
    assert (text or "") in told
    for label in ("Board", "Now", "Waiting", "Next", "Heater", "Marks", "Touch"):
        assert f" {label} " in told
    assert "Ctrl-C" in lines[-1]
    if bench.state in rs.HEATING_STATES:
        assert "S: smoke, heat off" in told


def rows(moment):
    bench = moment()
    story = story_of(bench)
    return {name: text.plain for name, text in panel_rows.rows_of(bench.record, story)}


def test_rows_tell_what_hands_have_changed():
    def moved():
        bench = moments.second_ramp()
        bench.touch(messages.OFFSET, -200)
        return bench

    assert "(target 2 °C down)" in rows(moved)["Board"]
    assert rows(moments.held)["Now"] == "stage 4 of 7: held here at 60.0 °C"
    assert rows(moments.held)["Waiting"] == "because you hold it here"
    air = rows(moments.air_on)
    assert air["Now"].startswith("stage 6 of 7: hot air is on, 80 °C from below   4:00 min left")
    assert air["Marks"].startswith("flux on ")
    assert air["Marks"].endswith("   next: solder moves")
    assert air["Touch"] == "tools only, for what is asked: it is hot"
    assert rows(moments.first_ramp)["Marks"] == "none"


def test_what_it_waits_for_is_told_with_the_sensors():
    def uneven():
        bench = moments.Bench(moments.work_plan(), moments.SETTINGS)
        bench.plan = uneven_plan()
        bench.to_run()
        bench.board_c = [30.0, 22.0]
        bench.tick(30)
        return bench

    def uneven_plan():
        return moments.build_plan(
            [moments.ramp(2500, 6000, 2000, spread_cdeg=500, hold_back_cdeg=3000),
             moments.cool()]
        )  # fmt: skip

    def near_limit():
        plan = moments.build_plan(
            [moments.ramp(2500, 6000, 100, hold_back_cdeg=3000), moments.cool()],
            role1=layout.ROLE_NEIGHBOUR, limit1_cdeg=5000, pause1_cdeg=4500,
        )  # fmt: skip
        bench = moments.Bench(plan, moments.SETTINGS)
        bench.to_run()
        bench.board_c = [40.0, 46.0]
        bench.tick(5)
        return bench

    # the couples' quarter degrees show in the tenths
    assert re.fullmatch(
        r"for the board to become even: top_near_chip 30\.\d °C, edge 2[12]\.\d °C",
        rows(uneven)["Waiting"],
    )
    assert re.fullmatch(
        r"for a neighbour to stay off its own limit: edge 4[56]\.\d °C, its limit 50 °C",
        rows(near_limit)["Waiting"],
    )
    assert rows(lifted)["Waiting"] == "for a sensor to be pressed down"
    assert rows(lifted)["Heater"].endswith("held off: a sensor seems to lift off the board")


def test_what_comes_next_after_a_mended_trip():
    assert rows(open_couple_mended)["Next"].startswith("a new run that goes on with this one")

    def armed_again():
        bench = open_couple_mended()
        bench.acknowledge(252)
        left = bench.machine.sequencer
        bench.arm(stage=left.left_stage, done_ticks=left.left_tick)
        bench.tick(15)
        return bench

    bench = armed_again()
    story = story_of(open_couple_mended())
    story.begin_next()
    for _ in range(2):
        bench.tick()
        story.follow(bench.record, bench.packed)
    told = dict(panel_rows.rows_of(bench.record, story))
    assert bench.state == rs.COLD_PROOF
    assert told["Next"].plain.startswith("hold 60 °C")  # the stage that it goes on with
    assert told["Touch"].plain.startswith("leave it until it is below 50 °C")
