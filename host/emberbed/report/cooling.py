"""Whether the record shows that the board became cool; if not, why not, in one sentence.

A run may end with a couple pulled off a board that is still hot: that is the person's right, and
then nobody knows how hot the board was when it was taken.
"""

from emberbed.records import TickRecord
from emberbed.store.meaning import channel_names_of, plan_of
from emberbed.store.run_store import RunStore
from emberbed.store.runs import StoredRun
from emberbed_fw import run_states
from emberbed_fw.safety_limits import LONGEST_COOL_TICKS, PULLED_TICKS

_LOOK_BACK_TICKS = (3 * PULLED_TICKS, LONGEST_COOL_TICKS)
_NOISE_CDEG = 100  # the device has seen a second below it; the last reading alone may wobble
_IN_HAND = (run_states.FINISHED, run_states.STOPPED)  # only then was a couple pulled on purpose


def cooling_not_proven(store: RunStore, run: StoredRun, newest: TickRecord | None) -> str:
    """Return why the cooling of an ended run is not proven, '' when it is or nothing was heated."""
    plan = plan_of(run)
    if plan is None or newest is None or newest.state not in run_states.END_EVENTS:
        return ""
    if newest.energy_j == 0:
        return ""
    names = channel_names_of(run)
    channels = plan.board_channels()
    lost = [channel for channel in channels if newest.channel_cdeg(channel) is None]
    if lost:
        return f"Cooling not proven: {_lost(store, run, newest, lost, names)}."
    hottest = max(channels, key=lambda c: newest.channel_cdeg(c) or 0, default=None)
    cool_cdeg = plan.header["handling_cdeg"] + _NOISE_CDEG
    if hottest is None or (newest.channel_cdeg(hottest) or 0) < cool_cdeg:
        return ""
    return (
        f"Cooling not proven: the board still had {_degrees(newest.channel_cdeg(hottest))}"
        f" ({_name(names, hottest)}) when the record ended."
    )


def _lost(
    store: RunStore, run: StoredRun, newest: TickRecord, lost: list[int], names: dict[int, str]
) -> str:
    """Return which sensor had no reading at the end, and its last one before that."""
    last = _last_readings(store, run, newest.tick, lost)
    hottest = max(lost, key=lambda channel: last.get(channel, 0))
    had, name = _degrees(last.get(hottest)), _name(names, hottest)
    if newest.verdict not in _IN_HAND:
        return f"the sensor {name} had no reading at the end, its last was {had}"
    if len(lost) == 1:
        return f"a sensor was pulled at {had} ({name})"
    return f"{len(lost)} sensors were pulled, the hottest at {had} ({name})"


def _last_readings(
    store: RunStore, run: StoredRun, end: int, channels: list[int]
) -> dict[int, int]:
    found: dict[int, int] = {}
    for back in _LOOK_BACK_TICKS:
        for record in store.records(run.id, max(0, end - back)):
            readings = {channel: record.channel_cdeg(channel) for channel in channels}
            found |= {channel: cdeg for channel, cdeg in readings.items() if cdeg is not None}
        if len(found) == len(channels):
            break
    return found


def _name(names: dict[int, str], channel: int) -> str:
    return names.get(channel, f"channel {channel}")


def _degrees(cdeg: int | None) -> str:
    return "an unknown temperature" if cdeg is None else f"{cdeg / 100:.0f} °C"
