"""The controller's part of a tick: the demand of each zone, in q15 of full power.

Closed loop in ramps and plateaus, open loop in POWER stages, inside the learned band under hot air.
The guard knows nothing of what is decided here.
"""

from emberbed_fw import run_states as rs
from emberbed_fw.plan import PLATEAUS, POWER
from emberbed_fw.units import FULL_POWER_Q15, NO_READING_CDEG


def control_zone(machine, zone, measured):
    """Set the demand of a zone whose control sensor reads `measured` in a stage that heats."""
    # the controller's view of what was delivered: the last tick's bits, as asked or not
    delivered = machine.guard.withheld == 0
    sequencer = machine.sequencer
    pid = machine.pids[zone]
    if sequencer.kind() == POWER:
        pid.slope.observe(measured)
        machine.demand_q15[zone] = _open_loop_q15(machine, zone, pid.cap_q15)
        return
    soak = machine.soaks[zone]
    least, most = 0, machine.plan.stage["cap_q15"][sequencer.stage] or FULL_POWER_Q15
    if sequencer.air_on:
        most = min(most, soak.most_q15())
        least = min(most, soak.least_q15())
    planned_q15 = sequencer.feedforward_q15(zone)
    need = machine.needs[zone]
    feedforward_q15 = need.corrected(planned_q15)
    pid.follow(sequencer.off_plan(), feedforward_q15)
    pid.step(
        sequencer.setpoint_cdeg, sequencer.slope_q6(machine.plan.preview_ticks[zone]), measured,
        feedforward_q15, delivered, least, most,
    )
    machine.demand_q15[zone] = pid.demand_q15
    if delivered:
        need.step(sequencer, planned_q15, pid.demand_q15, pid.slope.now_cdeg())
    if sequencer.kind() not in PLATEAUS or sequencer.lead.climbs():
        soak.reset()
    elif delivered and not sequencer.air_on:
        soak.observe(pid.demand_q15, sequencer.setpoint_cdeg, measured)


def _open_loop_q15(machine, zone, cap_q15):
    """Return the power of a POWER stage, of all zones and of this one; none while a neighbour is
    near its limit."""
    stage = machine.sequencer.stage
    if machine.sequencer.waits_for != rs.WAITS_NOTHING:
        return 0
    stage_cap_q15 = machine.plan.stage["cap_q15"][stage] or FULL_POWER_Q15
    power_q15 = machine.plan.stage["power_q15"][stage] + machine.sequencer.feedforward_q15(zone)
    return min(power_q15, stage_cap_q15, cap_q15)


def rest_zone(machine, zone, measured):
    """Ask for nothing; the slope of a reading is followed all the same."""
    machine.demand_q15[zone] = 0
    if measured != NO_READING_CDEG:
        machine.pids[zone].slope.observe(measured)
