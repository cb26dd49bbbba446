"""What a device on injected readings tells of one tick, and what can go wrong with a step."""

from typing import NamedTuple, Protocol

from emberbed.records import FIELD_NAMES, TickRecord
from emberbed.trip_titles import TRIP_TITLES
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes as codes
from emberbed_hil.channel import Outputs

NO_RECORD = TickRecord(*([0] * len(FIELD_NAMES)))


class Failed(Exception):
    """A step did not show what it should; one sentence."""


def told_state(record: TickRecord) -> str:
    """Return where a device stands, for the sentence of a step that waited in vain."""
    said = f"{rs.STATE_NAMES[record.state]} in stage {record.stage + 1}"
    if record.waits_for:
        said += f", waiting ({record.waits_for})"
    if record.trip:
        said += f", {TRIP_TITLES[codes.TRIPS[record.trip - 1][1]]}"
    return said + f", read {record.channel0_cdeg / 100:g} °C of {record.setpoint_cdeg / 100:g}"


class Hands(Protocol):
    """What is done to the device itself, and no message can do."""

    @property
    def back_s(self) -> float:
        """For how long a device may be away whose power is cut."""
        ...

    def stand_by(self) -> None:
        """Be ready to cut the power."""
        ...

    def cut_power(self) -> None:
        """Take every supply away, and give it back."""
        ...


class Tick(NamedTuple):
    """What the device told of one tick: its record, and what it drove by its own clock."""

    record: TickRecord
    outputs: Outputs

    def shows(self, sample: int) -> bool:
        """Tell whether this tick read the sample of that number, or a later one."""
        return (self.outputs.sequence - sample) & 0xFFFF < 1 << 15
