"""A calibration from the first question to the kept line: baths one after the other, then written.

`hands` asks the person for each bath (and moves the simulated bead). The new line is checked by
reading the last bath once more; where it does not hold, the old settings are put back. Raises
NotReady, LinkError, Refused, StoreError.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from emberbed.acceptance.standing import device_id
from emberbed.bench.prepare import NotReady, read_description, read_to_run
from emberbed.calibration.fixed_points import BOILING, ICE, Reference
from emberbed.calibration.history import Entry
from emberbed.calibration.history import add as keep
from emberbed.calibration.line import MOST_RESIDUAL_K, Line, Point, line_through
from emberbed.calibration.measure import Couple, Show, melt_point, steady_point
from emberbed.calibration.on_device import with_line
from emberbed.install.write_settings import write_settings
from emberbed.link.device import Device
from emberbed.link.events import Event, Record
from emberbed.plain_text import did_you_mean, printable
from emberbed.store.runs import utc_now
from emberbed.words import state_words
from emberbed_fw import run_states as rs

CAUTIONS = (
    "Boiling water and its steam burn: use tongs, a pot that cannot tip, and let it cool before you"
    " carry it.",
    "Keep water and mains apart: pull the heater's mains plug, and keep the pot off the bench where"
    " the heater stands.",
    "Only the bead and its insulated leads go into the water, with no bare wire and no plug: water"
    " between two wires is a second couple.",
)
SOLDER_CAUTION = (
    "Molten solder burns and its flux fumes: ventilate, wear glasses, keep water away from it, and"
    " wash your hands after tin-lead."
)
ASKED = {
    ICE: "Fill a cup with crushed ice, top it up with cold water, stir, and put the bead of {name}"
    " into its middle, off the walls.",
    BOILING: "Bring water to a rolling boil and hang the bead of {name} into its middle, off the"
    " bottom; keep it there until the end.",
}
MELT_ASKED = (
    "Melt a drop of {point} around the bead of {name} with an iron, take the iron away as you go on"
    " here, and let it freeze without moving it."
)


class Hands(Protocol):
    def put(self, channel: int, reference: Reference, what: str) -> None:
        """Ask for a bead in a bath, and return when it is there."""
        ...


@dataclass(frozen=True)
class Calibrated:
    """What came of it; `before` is what the device held, `written` whether it holds it now."""

    entry: Entry
    before: Line
    written: bool


def check_at_rest(device: Device) -> None:
    """Refuse a device that would not take settings: it has a run behind it, or before it."""
    if device.greeting.state != rs.IDLE:
        raise NotReady(
            [
                f"The device at {device.url} is not idle ({state_words(device.greeting.state)}):"
                " let its run end, switch it off and on, then calibrate"
            ]
        )


def couple_on(device: Device, sensor: str) -> Couple:
    """Return the couple that a person names, by its name or its channel's number."""
    _block, description = read_to_run(device)
    couples = {
        number: name
        for number, name in description.fitted_names().items()
        if description.channels[number].has_couple
    }
    for number, name in couples.items():
        if sensor in (name, str(number)):
            return Couple(device, description, number)
    mend = did_you_mean(sensor, couples.values(), "its thermocouples are")
    raise NotReady([f'"{printable(sensor)}" is no thermocouple of this device; {mend}'])


def measure(
    couple: Couple, references: Sequence[Reference], hands: Hands, show: Show
) -> list[Point]:
    """Take the points one after the other."""
    points = []
    for reference in references:
        asked = ASKED.get(reference.name, MELT_ASKED)
        hands.put(couple.channel, reference, asked.format(name=couple.name, point=reference.name))
        take = steady_point if reference.name in ASKED else melt_point
        points.append(take(couple, reference, show))
    return points


def set_line(
    couple: Couple,
    points: Sequence[Point],
    by: str,
    *,
    write: bool,
    keeps: bool = True,
    bath: Reference | None = None,
    show: Show = lambda _line: None,
) -> Calibrated:
    """Judge the points, write the line, read the bath in which the bead still is, and keep it.

    keeps: in the history; a device that is gone in a moment has no place there.
    """
    line = line_through(points)
    couple.device.sink = _Renewer(couple.device)
    block, description = read_description(couple.device)
    entry = Entry(
        utc_now(),
        device_id(couple.device, block),
        couple.channel,
        couple.name,
        tuple(points),
        line,
        by,
    )
    if not write:
        return Calibrated(entry, couple.held, False)
    write_settings(couple.device, with_line(block, couple.channel, line))
    if bath is not None:
        _block, description = read_description(couple.device)
        now = replace(couple, description=description)
        entry = replace(entry, check_k=_checked(now, block, bath, show))
    if keeps:
        keep(entry)
    return Calibrated(entry, couple.held, True)


class _Renewer:
    """Acknowledges records that arrive while a request waits: a virtual device's clock stands
    without, and what a tick must take would never be taken."""

    def __init__(self, device: Device) -> None:
        self._device = device

    def __call__(self, events: list[Event]) -> None:
        for event in events:
            if isinstance(event, Record):
                self._device.renew(event.tick)


def _checked(couple: Couple, before: bytes, bath: Reference, show: Show) -> float:
    """Return how far a calibrated reading is off; put the old settings back if it is far."""
    try:
        bare_c = steady_point(couple, bath, show).read_c
        off_k = couple.held.corrected_c(bare_c) - bath.true_c
        if abs(off_k) > MOST_RESIDUAL_K:
            raise NotReady(
                [
                    f"{couple.name} reads {off_k:+.1f} °C off in {bath.told} after all (at most"
                    f" {MOST_RESIDUAL_K:g} °C), so the old calibration is back: keep the bead in"
                    " the water until the end, and calibrate again"
                ]
            )
    except BaseException:
        write_settings(couple.device, before)
        raise
    return off_k
