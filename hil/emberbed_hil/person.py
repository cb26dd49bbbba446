"""Who does what no program can: plugs, presses, looks, and says what was seen.

`Asked` in a terminal asks the person; `AtVirtualDevice` does it with the virtual device's hands and
says what they have done. `PersonHands` are a person's where readings are injected.
"""

from collections.abc import Callable
from typing import Protocol

from emberbed.bench.virtual import VirtualDevice
from emberbed_fw.safety_limits import LEASE_TICKS
from emberbed_fw.units import TICKS_PER_S

YES = ("y", "yes")
NO = ("n", "no")
SKIP = ("s", "skip")
FINGER_S = 12.0
AWAY_S = LEASE_TICKS / TICKS_PER_S + 3.0
VIRTUAL_HURRY = 20
UNPLUGGED_S = 20.0
BACK_S = 120.0  # for a plug that a person puts back
STAND_BY = (
    "Next the board loses its power while it runs on injected readings; nothing heats. Lay a hand"
    " on its supply: the USB plug, and every other one. You are told when to pull."
)


class Skipped(Exception):
    """The person leaves this step out."""


class Person(Protocol):
    @property
    def sees(self) -> bool:
        """Tell whether somebody looks; else what is measured stands alone."""
        ...

    @property
    def away_s(self) -> float:
        """For how long the cable is out."""
        ...

    def tell(self, text: str) -> None:
        """Say something that needs no answer."""
        ...

    def do(self, what: str, channel: int, asked: str) -> None:
        """Have something done, `what` by name; return when it is, or is being, done."""
        ...

    def confirm(self, asked: str) -> bool:
        """Ask a question that yes or no answers."""
        ...

    def note(self, asked: str) -> str:
        """Ask for a figure or a few words."""
        ...


class Asked:
    """A person at a terminal. `ask` writes a prompt and returns what was typed; Skipped for s."""

    sees = True
    away_s = AWAY_S

    def __init__(self, ask: Callable[[str], str], say: Callable[[str], None]) -> None:
        self._ask = ask
        self._say = say

    def tell(self, text: str) -> None:
        self._say(text)

    def do(self, what: str, channel: int, asked: str) -> None:
        self._answer(f"{asked} [Enter when you begin, s to skip]")

    def confirm(self, asked: str) -> bool:
        while True:
            said = self._answer(f"{asked} [y/n/s]")
            if said in YES:
                return True
            if said in NO:
                return False
            self._say("Type y for yes, n for no, s to skip.")

    def note(self, asked: str) -> str:
        while True:
            said = self._answer(f"{asked} [write it down, or s]")
            if said:
                return said

    def _answer(self, prompt: str) -> str:
        said = self._ask(prompt).strip()
        if said.casefold() in SKIP:
            raise Skipped
        return said if said.casefold() not in (*YES, *NO) else said.casefold()


class PersonHands:
    """Has a person do to a board what no message can."""

    back_s = BACK_S

    def __init__(self, person: Person) -> None:
        self._person = person

    def stand_by(self) -> None:
        self._person.do("power", 0, STAND_BY)

    def cut_power(self) -> None:
        self._person.tell("NOW: take every supply away, count to three, and put it back.")


class AtVirtualDevice:
    """The virtual device's own hands. What they cannot reach is skipped."""

    sees = False
    away_s = AWAY_S / VIRTUAL_HURRY  # its clock runs so much faster while nobody is there

    def __init__(self, device: VirtualDevice, say: Callable[[str], None]) -> None:
        self._device = device
        self._say = say

    def tell(self, text: str) -> None:
        self._say(text)

    def do(self, what: str, channel: int, asked: str) -> None:
        match what:
            case "finger":
                self._device.finger(channel, FINGER_S)
            case "press":
                self._device.hold_button()
            case "tap":
                self._device.tap_button()
            case "unplug":
                self._device.unplug(channel, UNPLUGGED_S)
            case "cable":
                pass  # the program itself leaves the wire
            case _:
                raise Skipped

    def confirm(self, asked: str) -> bool:
        raise Skipped

    def note(self, asked: str) -> str:
        raise Skipped
