"""What the host foretells before the flux, against what the firmware then does on that bench."""

import pytest

from emberbed.learn.outlook import outlook
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.units import TICKS_PER_S
from tests.host.learn.boards import FEASIBLE, TOO_FAST, before_flux, learned, ran
from tests.host.learn.true_heater import MASSES_G

SECOND_RAMP = 3


def foretold(mass_g, how):
    records, plan = ran(mass_g, *how)
    now = before_flux(records)[-1]
    return outlook(learned(mass_g, *how), plan, now.stage, now.stage_tick)


def asked_for_more_time(mass_g, how):
    """Tell whether the device asked, as it does when a stage is over its longest time."""
    return any(record.waits_for == rs.WAITS_ANSWER for record in ran(mass_g, *how)[0])


@pytest.mark.parametrize("how", [FEASIBLE, TOO_FAST], ids=["feasible", "too fast"])
@pytest.mark.parametrize("mass_g", MASSES_G)
def test_what_is_said_to_be_reachable_is_reached(mass_g, how):
    assert foretold(mass_g, how).reachable is not asked_for_more_time(mass_g, how)


def test_one_kind_of_each_was_tried():
    assert not asked_for_more_time(240, FEASIBLE)
    assert asked_for_more_time(400, TOO_FAST)


def test_the_limiting_stage_is_named_with_the_mend():
    told = foretold(400, TOO_FAST)
    assert told.limiting_stage == SECOND_RAMP
    assert told.seconds_to_end is None
    said = told.sentences[-1]
    assert said.startswith("Stage 4 (ramp to 135 °C) is not reachable at 60 % power")
    assert "longest_s" in said


@pytest.mark.parametrize("mass_g", MASSES_G)
def test_the_time_to_the_end(mass_g):
    """Within 15 % of what the firmware then takes for its ramps and holds."""
    records, plan = ran(mass_g, *FEASIBLE)
    heating = (layout.RAMP, layout.HOLD)
    rest = records[len(before_flux(records)) :]
    ticks = sum(r.state == rs.RUN and plan.stages[r.stage]["kind"] in heating for r in rest)
    told = foretold(mass_g, FEASIBLE)
    assert told.seconds_to_end == pytest.approx(ticks / TICKS_PER_S, rel=0.15)
    cooling_s = sum(r.state == rs.COOL for r in rest) / TICKS_PER_S
    assert told.cooling_s > cooling_s  # the bench has a fan


def test_a_slower_ramp_than_asked_for_is_told():
    """400 g cannot follow 1 degC/s, but reach 135 degC within a longer time."""
    told = foretold(400, (1.0, 400))
    assert told.reachable
    assert any("instead of 0:48" in sentence for sentence in told.sentences)


def test_less_power_is_heard():
    """The same board with a hot-air tool on the socket: the cap is the plan's."""
    records, plan = ran(400, *FEASIBLE)
    now = before_flux(records)[-1]
    plan.header["cap0_q15"], kept = 6000, plan.header["cap0_q15"]
    try:
        told = outlook(learned(400, *FEASIBLE), plan, now.stage, now.stage_tick)
    finally:
        plan.header["cap0_q15"] = kept
    assert not told.reachable
    assert "at 18 % power" in told.sentences[-1]
