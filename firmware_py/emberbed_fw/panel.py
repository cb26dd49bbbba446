"""The device used alone: its button loads, arms and goes on where no host answers for the heat.

Held for a second with nothing armed, it arms the plan that a host has left, the one of the last run
(also after a power-down), or else a plain hold; two taps arm the plain hold in any case;
then somebody has to touch the button at least every 15 minutes. Arming heats nothing: the press of
the armed run is a second one. A small display, where the port has one, says what there is to say.
Works after each tick, and may allocate. Serves hazard H07.
"""

import struct

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import stock_hold
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.plan import PLAN_FINE, Plan
from emberbed_fw.plan_check import find_fault
from emberbed_fw.plan_keeper import PlanKeeper
from emberbed_fw.units import NONE

STANDS_BY = (rs.IDLE, rs.FINISHED, rs.STOPPED, rs.LINK_LOST)
HOLD_TAPS = 2
SHOWN_TICKS = 5  # a display takes a quarter of a tick: twice a second is enough


class Panel:
    def __init__(self, machine, link, port):
        self._machine = machine
        self._screen = port.screen
        self._keeper = PlanKeeper(machine, link, port)
        self._link = link
        self._state_before = rs.BOOT  # a press that ended something does not begin the next thing

    def after_tick(self):
        if self._screen is not None and self._machine.tick % SHOWN_TICKS == 0:
            from emberbed_fw.panel_text import panel_lines  # many texts: only where they are shown

            self._screen.show(panel_lines(self._machine))
        self._obey_button()
        self._keeper.step()

    def _obey_button(self):
        machine = self._machine
        before = self._state_before
        self._state_before = machine.life.state
        if machine.guard.held_by_host():
            return
        held = machine.button.held and machine.life.state == before
        if held and before == rs.LOADED:
            self._arm(machine.plan, NONE, 0)
        elif held and before in STANDS_BY:
            self._start_alone(self._keeper.last() or self._plain_hold())
        elif machine.button.taps == HOLD_TAPS and before in STANDS_BY:
            self._start_alone(self._plain_hold())
        elif machine.touches.source == ms.BY_BUTTON and self._may_go_on():
            sequencer = machine.sequencer
            self._arm(machine.plan, sequencer.left_stage, sequencer.left_tick)

    def _may_go_on(self):
        machine = self._machine
        return (machine.touches.touch == ms.ANSWER and machine.prompt() == GO_ON_PROMPT
                and machine.guard.attendance == ms.ATTEND_PANEL)

    def _start_alone(self, block):
        """Load a plan's bytes, None for none, and arm it."""
        machine = self._machine
        if block is None:
            return
        self._keeper.need_not_keep(block)
        self._link.keep_plan(block)
        plan = Plan(block)
        machine.prepare(plan)
        if self._link.put_own(ms.PLAN_WRITE, _end_of_block(block)):
            self._arm(plan, NONE, 0)

    def _plain_hold(self):
        """Return a plain hold that this device can bear, None where none is offered."""
        settings = self._machine.settings
        if not stock_hold.is_offered(settings):
            return None
        block = stock_hold.build_hold(settings)
        return block if find_fault(block, settings) == PLAN_FINE else None

    def _arm(self, plan, stage, done_ticks):
        self._link.put_own(ms.ARM, struct.pack(
            ms.ARM_PAYLOAD, plan.crc_low, plan.crc_high, ms.ATTEND_PANEL, stage, done_ticks
        ))


def _end_of_block(block):
    return struct.pack("<HH", ms.END_OF_BLOCK, len(block)) + block[-4:]
