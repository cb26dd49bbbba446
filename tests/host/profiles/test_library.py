"""The shipped profiles: no errors or warnings, accepted by the firmware, true to the trade."""

from functools import cache

import pytest

from emberbed.materials.book import find_alloy, find_laminate
from emberbed.profiles.check import check_profile
from emberbed.profiles.compile import compile_plan, decode_plan, prompts
from emberbed.profiles.marks import marks_of
from emberbed.profiles.model import Cool, Hold, HotAir, Ramp, Wait
from emberbed.profiles.plan_bytes import pack_plan
from emberbed.profiles.reader import read_profile
from emberbed.profiles.shipped import shipped_names
from emberbed.profiles.timing import spans
from emberbed.records import TickRecord, decode_record
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw import settings as device
from emberbed_fw.plan_check import find_fault
from emberbed_fw.trip_codes import NO_TRIP
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import ClosedLoop, Operator
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import DEFAULT_SENSORS, bench_for_board
from tests.host.profiles.profile_texts import CEILINGS_CDEG, NAMES

SETTINGS = device.Settings(
    device.pack_settings(0, [(name, 1, 20000, 0, 4096) for name in NAMES[:2]], [(1000, 2)])
)
SESSION = ["remove-chip", "clean-pads", "place-chip"]  # of one board, in this order
WITH_FLUX = ["label-printer", "place-chip", "remove-chip", "weather-logger"]


def test_all_are_there():
    assert shipped_names() == sorted(["label-printer", "weather-logger", *SESSION])


@pytest.mark.parametrize("name", shipped_names())
def test_nothing_is_found_wrong(name):
    findings = check_profile(read_profile(name), NAMES, CEILINGS_CDEG, 1000)
    assert {finding.severity for finding in findings} == {"note"}


@pytest.mark.parametrize("name", shipped_names())
def test_the_firmware_accepts_it_with_the_default_gains(name):
    data = compile_plan(read_profile(name).model, NAMES, CEILINGS_CDEG)
    assert layout.PLAN_FAULTS[find_fault(data, SETTINGS)] == "fine"
    plan = decode_plan(data)
    assert pack_plan(plan.header, plan.stages, plan.knots) == data


@pytest.mark.parametrize("name", shipped_names())
def test_it_obeys_the_rules_of_the_trade(name):
    profile = read_profile(name).model
    tg_c = find_laminate(profile.laminate).tg_c
    ramps = [stage for stage in profile.stages if isinstance(stage, Ramp)]
    # at least 10 degC below Tg: rework training rule of thumb (quoted in a repair forum)
    assert max(ramp.to_c for ramp in ramps) <= min(140, tg_c - 10)
    # ramps 0.6 to 1 degC/s at most: common practice, no source
    assert max(ramp.rate_c_per_s for ramp in ramps) <= 1
    cool = profile.stages[-1]
    # cooling below 2 degC/s: a chip maker's BGA rework sheet; tools below 50 degC: common practice
    assert isinstance(cool, Cool) and cool.fastest_c_per_s <= 2 and cool.below_c <= 50
    # hot air 4 min at most: common practice, no source
    assert all(stage.longest_s <= 240 for stage in profile.stages if isinstance(stage, HotAir))


@pytest.mark.parametrize("name", WITH_FLUX)
def test_the_steps_come_in_the_order_of_the_trade(name):
    """Dry-out near 90, flux at 85 to 90, then hotter, hot air at the top, cooling: common
    practice, no source."""
    profile = read_profile(name).model
    found = spans(profile)
    dry_out = next(span for span in found if isinstance(span.stage, Hold))
    flux = next(span for span in found if isinstance(span.stage, Wait))
    (work,) = (span for span in found if isinstance(span.stage, HotAir))
    assert 8500 <= dry_out.to_cdeg <= 9500
    assert 8500 <= flux.to_cdeg <= 9000 and "flux" in prompts(profile)[0].casefold()
    assert marks_of(flux.stage) == ("flux_on",)
    assert work.to_cdeg == max(span.to_cdeg for span in found) > flux.to_cdeg
    assert dry_out.index < flux.index < work.index == len(found) - 2


def test_pads_are_cleaned_on_a_board_that_is_held_warm():
    """A held 100 to 130 degC, long enough for a person with wick and iron: common practice, no
    source; the wait ends it, never the clock."""
    found = spans(read_profile("clean-pads").model)
    (work,) = (span for span in found if isinstance(span.stage, Wait))
    assert 10000 <= work.to_cdeg <= 13000
    assert 600 <= work.longest_ticks / 10 <= 1200
    assert isinstance(found[work.index + 1].stage, Cool)


def test_the_session_says_what_becomes_of_the_chip():
    told = {
        name: [mark for stage in read_profile(name).model.stages for mark in marks_of(stage)]
        for name in SESSION
    }
    assert (
        told["remove-chip"][-2:] == ["chip_off", "air_away"] and "chip_on" not in told[SESSION[0]]
    )
    assert "chip_off" not in told["clean-pads"] + told["place-chip"]
    # the cold chip is set down before anything melts
    assert told["place-chip"].index("chip_on") < told["place-chip"].index("solder_moves")


@cache
def simulated(name: str) -> list[TickRecord]:
    """Return the records of a run on the simulated heater, with a person who answers."""
    profile = read_profile(name).model
    assert profile.board is not None
    board = profile.board
    bench = bench_for_board(board.mass_g, board.length_mm, board.width_mm, DEFAULT_SENSORS)
    settings = bench_settings(bench)
    plan = compile_plan(profile, NAMES, [26000] * 8)
    loop = ClosedLoop(settings, plan, SimulatedHeater(bench, 1, ()), Operator())
    return [decode_record(raw) for raw in loop.run()]


@pytest.mark.parametrize("name", shipped_names())
def test_on_the_simulated_heater_it_ends_well_and_never_overshoots(name):
    """2 degC of overshoot: the aim of the project for its shipped heater, no outside source."""
    records = simulated(name)
    assert (records[-1].state, records[-1].trip) == (rs.FINISHED, NO_TRIP)
    assert rs.TRIPPED not in {record.state for record in records}
    profile = read_profile(name).model
    tops = [span.to_cdeg for span in spans(profile)]
    air = next((n for n, one in enumerate(profile.stages) if isinstance(one, HotAir)), len(tops))
    kept = [
        record
        for record in records
        if record.state in (rs.RUN, rs.WAIT)
        and record.stage < air
        and not isinstance(profile.stages[record.stage], Ramp)
    ]
    assert {record.stage for record in kept} >= {
        n for n, s in enumerate(profile.stages[:air]) if isinstance(s, Hold)
    }
    assert max(record.channel_cdeg(0) - tops[record.stage] for record in kept) <= 200
    # what is beside the hot air never comes near to melting
    beside = max(record.channel_cdeg(0) for record in records)
    assert beside < 100 * find_alloy(profile.alloy).solidus_c
