"""What the button means while a run is on: answers, marks, changes, and who answers for the heat.

A short press answers the prompt; with none it marks the next expected event, two hold here (or end
that), three give the stage a minute more. Held for a second it means: cool down now. In the cooling
a short press lets the fan start where the plan waits for it. Starting heat is not here: the press
of an armed run belongs to life.py.
"""

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw.plan import FAN_ON_PRESS
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.touches import answer, apply_touch
from emberbed_fw.units import NONE, TICKS_PER_MIN

NOT_BY_TAP = (NONE, AIR_AWAY_PROMPT)  # a tap under hot air marks what is expected next


def take_button(machine):
    """Let this tick's presses mean something."""
    button = machine.button
    if button.tapped or button.held:
        machine.guard.renew_lease(ms.ATTEND_PANEL)
    if machine.life.state not in rs.SHOWN_STATES or machine.sequencer is None:
        return
    prompt = machine.prompt()
    was_read = machine.touches.has_been_read(prompt)
    goes_on = machine.life.go_on_prompt != NONE
    if button.held and not goes_on:
        button.forget_taps()
        apply_touch(machine, ms.COOL_DOWN, 0, ms.BY_BUTTON)
    elif (button.tapped or button.held) and prompt not in NOT_BY_TAP:
        button.forget_taps()
        if was_read:
            answer(machine, prompt, ms.BY_BUTTON)
    elif button.taps == 1:
        _one_tap(machine)
    elif button.taps == 2:
        touch = ms.GO_ON if machine.sequencer.held else ms.HOLD_HERE
        apply_touch(machine, touch, 0, ms.BY_BUTTON)
    elif button.taps == 3:
        apply_touch(machine, ms.EXTEND, TICKS_PER_MIN, ms.BY_BUTTON)


def _one_tap(machine):
    waits_for_fan = machine.plan.header["fan_starts"] == FAN_ON_PRESS and not machine.fan_allowed
    if machine.life.state == rs.COOL and waits_for_fan:
        apply_touch(machine, ms.FAN_NOW, 0, ms.BY_BUTTON)
    else:
        apply_touch(machine, ms.MARK, ms.MARK_NEXT, ms.BY_BUTTON)
