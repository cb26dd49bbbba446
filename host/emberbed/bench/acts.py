"""A script of what a person does during a run on the virtual device: TOUCH@TIME[#AMOUNT].

DEEDS is data, one row a name: what its amount means, and whether it is a request to the device or
a move of a hand at the bench. `parse_act` raises ValueError, one sentence with the mend.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NamedTuple

from emberbed.bench.prepare import NotReady
from emberbed.bench.virtual import VirtualDevice
from emberbed.bench.wishes import Stop, Touch, Wish
from emberbed.device_description import DeviceDescription
from emberbed.plain_text import did_you_mean, printable
from emberbed.profiles.plain_hold import parse_duration
from emberbed_fw import messages
from emberbed_fw.units import CHANNELS, TICKS_PER_S

FINGER_S = 10.0
_SHAPE = "write TOUCH@TIME, such as hold_here@90s or offset@2min#3"
_MARKS = {name.lower(): number for number, name in enumerate(messages.MARK_NAMES)}
_NO_AMOUNT = "it takes no amount"
_CHANNEL = f"the number of a channel, 0 to {CHANNELS - 1}"


class Deed(NamedTuple):
    """One name. `amounts` are least and most, `usual` the amount where none is written."""

    amount_is: str = _NO_AMOUNT
    amounts: tuple[float, float] = (0, 0)
    usual: float | None = 0
    wish: Callable[[float], Wish] | None = None
    move: Callable[[VirtualDevice, float], None] | None = None
    names_channel: bool = False


def _change(kind: int) -> Deed:
    return Deed(wish=lambda _amount: Touch(kind))


def _move(move: Callable[[VirtualDevice, float], None]) -> Deed:
    return Deed(move=move)


def _at_bead(move: Callable[[VirtualDevice, float], None]) -> Deed:
    return Deed(_CHANNEL, (0, CHANNELS - 1), 0, move=move, names_channel=True)


DEEDS = {
    "hold_here": _change(messages.HOLD_HERE),
    "go_on": _change(messages.GO_ON),
    "extend": Deed("1 to 600 s more", (1, 600), 60,
                   lambda seconds: Touch(messages.EXTEND, round(seconds * TICKS_PER_S))),
    "next": _change(messages.NEXT_STAGE),
    "plateau": _change(messages.LAST_PLATEAU),
    "offset": Deed("-50 to 50 °C that the target moves by", (-50, 50), None,
                   lambda degrees: Touch(messages.OFFSET, round(degrees * 100))),
    "cool": _change(messages.COOL_DOWN),
    "mark": Deed(f"one of {', '.join(_MARKS)}", (0, len(_MARKS) - 1), messages.MARK_NEXT,
                 lambda mark: Touch(messages.MARK, int(mark))),
    "fan": _change(messages.FAN_NOW),
    "air_on": _move(lambda virtual, _: virtual.blow(True)),
    "air_off": _move(lambda virtual, _: virtual.blow(False)),
    "lift": _at_bead(lambda virtual, channel: virtual.lift(int(channel))),
    "press_down": _at_bead(lambda virtual, channel: virtual.press_down(int(channel))),
    "board": _move(lambda virtual, _: virtual.change_board()),
    "finger": _at_bead(lambda virtual, channel: virtual.finger(int(channel), FINGER_S)),
    "stop": Deed(wish=lambda _: Stop(messages.STOP_BY_PERSON)),
}  # fmt: skip


@dataclass(frozen=True)
class Act:
    """One deed, `after_s` seconds after the first press."""

    name: str
    after_s: float
    amount: float

    @property
    def deed(self) -> Deed:
        return DEEDS[self.name]

    def channel(self) -> int | None:
        """Return the channel that it is done to, None for another deed."""
        return int(self.amount) if self.deed.names_channel else None


def parse_act(text: str) -> Act:
    """Return what `text` means; ValueError holds one sentence."""
    shown = printable(text, 60)
    rest, has_amount, amount = text.partition("#")
    name, at, when = rest.partition("@")
    if name not in DEEDS:
        mend = did_you_mean(name, DEEDS, "the names are")
        raise ValueError(f'--act {shown}: "{printable(name)}" is nothing a person does; {mend}')
    if not at:
        raise ValueError(f"--act {shown} lacks its time after the press; {_SHAPE}")
    try:
        after_s = parse_duration(when)
    except ValueError as error:
        raise ValueError(f"--act {shown}: {error}") from None
    return Act(name, after_s, _amount(shown, name, amount if has_amount else None))


def _amount(shown: str, name: str, written: str | None) -> float:
    deed = DEEDS[name]
    if written is None:
        if deed.usual is None:
            raise ValueError(f"--act {shown} lacks its amount after '#': {deed.amount_is}")
        return deed.usual
    if name == "mark" and written in _MARKS:
        return _MARKS[written]
    least, most = deed.amounts
    try:
        amount = float(written)
    except ValueError:
        amount = float("nan")
    whole = not deed.names_channel or amount.is_integer()
    if deed.amount_is == _NO_AMOUNT or name == "mark" or not whole or not least <= amount <= most:
        raise ValueError(
            f"--act {shown}: the amount {printable(written)!r} cannot be: {deed.amount_is}"
        )
    return amount


def check_channels(acts: Iterable[Act], description: DeviceDescription) -> None:
    """Refuse an act at a sensor that is not there: the virtual bench would pass it over."""
    last = max(description.fitted_names())
    for act in acts:
        channel = act.channel()
        if channel is not None and channel > last:
            raise NotReady(
                [f"--act {act.name} names channel {channel}, but the last sensor is number {last}"]
            )
