"""What a hand wants, asked of the device; a refusal is an event of the run, and changes nothing."""

from collections.abc import Callable, Iterable

from emberbed.bench.stage_text import degrees
from emberbed.bench.wishes import Answer, NewPower, Touch
from emberbed.link.device import Device, Refused
from emberbed.records import TickRecord
from emberbed.touch_words import source_words, touch_words
from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_fw.safety_limits import HANDLING_CDEG

Tell = Callable[[str, str], None]  # kind, sentence
ALONE = (
    "Without its PC link the device switches heat off within 2 s by itself; what follows is not"
    " recorded."
)
POWER_ANEW = (
    "The power for the stages after this wait was planned anew, from how warm the heater is now."
)
SMOKE = "Smoke"
SMOKE_CAUTION = "If it smokes on, pull the mains plug, and air the room."


class Requests:
    """Asks in the name of one source (messages.BY_TERMINAL ..)."""

    def __init__(self, device: Device, source: int, tell: Tell) -> None:
        self._device = device
        self._source = source
        self._tell = tell

    def carry_out(self, wish: Answer | Touch | NewPower) -> None:
        """Ask for an answer or a change; LinkError when nobody hears."""
        if isinstance(wish, NewPower):
            self._give_power(wish)
            return
        kind = messages.ANSWER if isinstance(wish, Answer) else wish.kind
        source = self._source if wish.source is None else wish.source
        try:
            if isinstance(wish, Answer):
                self._device.acknowledge(wish.prompt, source)
            else:
                self._device.touch(wish.kind, wish.amount, source)
        except Refused as refused:
            what = f"{touch_words(kind)}, {source_words(source)}"
            self._tell("refusal", f"Not done ({what}): {refused}")

    def _give_power(self, wish: NewPower) -> None:
        try:
            for payload in wish.payloads:
                self._device.ask(messages.FEEDFORWARD, payload)
        except Refused as refused:
            self._tell("refusal", f"The power stays as it was planned before: {refused}")
            return
        wish.taken()
        self._tell("power", POWER_ANEW)

    def stop(self, reason: int, newest: TickRecord) -> bool:
        """Take the heat away; return whether the device took it."""
        self._tell("stop", _stop_text(reason, newest, self._source == messages.BY_TERMINAL))
        try:
            self._device.stop(reason)
        except Refused as refused:
            self._tell("stop", f"The device did not take the stop: {refused} {ALONE}")
            return False
        return True


def left_text(newest: TickRecord, channels: Iterable[int]) -> str:
    """Say how hot the board was when it was left; a sensor without a reading says nothing good."""
    readings = [newest.channel_cdeg(channel) for channel in channels]
    hottest = max((one for one in readings if one is not None), default=None)
    if hottest is None:
        return "Left without a reading of the board: it may be hot, and nothing records it."
    left_at = f"Left while the board was at {degrees(hottest, 0)}"
    still = "it is still hot, and " if hottest >= HANDLING_CDEG else ""
    return f"{left_at}: {still}nothing records it any more."


def _stop_text(reason: int, newest: TickRecord, by_keyboard: bool) -> str:
    heat = "heat off" if newest.verdict == rs.NO_VERDICT else "heat is off already"
    if reason == messages.STOP_SMOKE:
        return f"{SMOKE}: {heat}. {SMOKE_CAUTION}"
    if newest.state not in (*rs.HEATING_STATES, rs.COOL) and newest.energy_j == 0:
        return "Stop asked for: nothing was heated."
    leaves = " Ctrl-C again leaves." if by_keyboard else ""
    if reason == messages.STOP_SELF_CHECK:
        return f"Stopped by the self-check: {heat}, the cooling is still recorded.{leaves}"
    return f"Stop asked for: {heat}, the cooling is still recorded.{leaves}"
