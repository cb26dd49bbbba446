"""What a row of the catalogue of faults says, and the numbers that several rows share.

`acts_on` names who carries it out: the heater (plant/), the device (its clock, button, power and
memory) or the link between device and computer. All others leave it alone.
"""

from typing import NamedTuple

from emberbed_sim.plant.parameters import CHANNELS

NO_AMOUNT = range(1)
MOST_ZONES = 4
A_CHANNEL = range(CHANNELS)
A_ZONE = range(MOST_ZONES)
CHANNEL = "channel, the first if not given"
ZONE = "zone, the first if not given"
AND_CHANNEL = "; a comma and the channel may follow, such as #30,1"
AND_ZONE = "; a comma and the zone may follow, such as #50,1"
ON_HEATER, ON_DEVICE, ON_LINK = "heater", "device", "link"
IN_PROCESS = "closed loop"  # needs the firmware in this process, to reach into its memory
ON_A_WIRE = "virtual device"  # needs bytes on a wire


class FaultKind(NamedTuple):
    """One row: name, what acts on it, what it does, what its amount means ("" = takes none)."""

    name: str
    acts_on: str  # ON_*
    does: str
    amount_is: str = ""
    amounts: range = NO_AMOUNT  # whole numbers
    usual: int = 0  # the amount of an event that gives none
    lasts_s: float | None = None  # of an event that gives no length; None = for good
    at_once: bool = False  # a moment, without a length
    part: str = ""  # "channel" or "zone": which one of them it happens to
    only: str = ""  # the one place that can do it, IN_PROCESS or ON_A_WIRE; "" = both

    @property
    def amount_is_part(self) -> bool:
        """Tell whether the amount is the number of a channel or zone, and nothing besides."""
        return bool(self.part) and self.amounts == self.parts

    @property
    def parts(self) -> range:
        """Return the numbers that the part it happens to may have."""
        return {"channel": A_CHANNEL, "zone": A_ZONE}.get(self.part, NO_AMOUNT)
