"""A run that waits for a person, and power for what comes after the wait."""

from emberbed_fw import messages as ms
from tests.support.bench import SHORT_PLAN_PROMPT, Bench
from tests.support.wire import Wire

# Stages and their knots: ramp 0, 1; hold 2, 3; wait 4; ramp 5, 6; cool.
KNOTS, AHEAD = 7, 5
RAMP_STAGE = 3


def anew(*later):
    """Return a set that leaves alone what has begun by the wait."""
    return [0] * AHEAD + list(later)


def waiting(plan=None, settings=None):
    """Return a wire whose run asks for its prompt."""
    wire = Wire(Bench(plan, settings)).to_run()
    wire.bench.board_c = [60.0, 60.0]
    for _ in range(400):
        if wire.machine.prompt() == SHORT_PLAN_PROMPT:
            return wire
        wire.tick()
    raise AssertionError("the wait never came")


def send(wire, payloads):
    """Send them one after the other; return the answer to the last."""
    for payload in payloads:
        answer = wire.ask(ms.FEEDFORWARD, payload)
        if answer[0] != "DONE":
            break
    return answer[0]


def powers_of(machine, zone=0):
    return list(machine.plan.feedforward_q15[zone])
