"""What a hand at the bench may want of the device in one turn of the loop."""

from collections.abc import Callable
from typing import NamedTuple


class Answer(NamedTuple):
    """Answer this prompt; `source`: who, where that is another hand than the run's own."""

    prompt: int
    source: int | None = None


class Touch(NamedTuple):
    """Change the running plan: `kind` is one of messages.HOLD_HERE .., `amount` as it says."""

    kind: int
    amount: int = 0
    source: int | None = None


class Stop(NamedTuple):
    """Take the heat away at once; `reason` is one of messages.STOP_BY_PERSON .."""

    reason: int


class NewPower(NamedTuple):
    """Let the stages to come have this power: payloads of FEEDFORWARD; `taken` is called once the
    device has it."""

    payloads: tuple[bytes, ...]
    taken: Callable[[], None]


Wish = Answer | Touch | Stop | NewPower
