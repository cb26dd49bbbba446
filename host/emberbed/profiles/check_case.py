"""What the rules of `check` look at, and what they give: (severity, location, sentence), and where
a number was held against a limit, that as Judged.

Without channel names or watts the device is not known, and rules about it are left out.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from emberbed.materials.book import Alloy, Flux, Laminate
from emberbed.profiles.guard_model import GuardModel
from emberbed.profiles.limits import Limit
from emberbed.profiles.model import Hold, HotAir, Power, Profile, Ramp, Sensor
from emberbed.profiles.timing import Span, peak_cdeg
from emberbed.profiles.tool_power import Socket
from emberbed.profiles.whole_rules import Location
from emberbed.profiles.zones import Zones

Severity = Literal["error", "warning", "note"]


class Judged(NamedTuple):
    """A number of the profile, the limit it was held against, their unit, the limit's source."""

    value: float
    limit: float
    unit: str
    source: str


OneFound = tuple[Severity, Location, str] | tuple[Severity, Location, str, Judged]
Found = Iterator[OneFound]


def against(value: float, limit: Limit) -> Judged:
    """Return a number beside the limit it breaks."""
    return Judged(value, limit.value, limit.unit, limit.source)


@dataclass(frozen=True)
class Case:
    """A profile with its materials, and what is known of the device."""

    profile: Profile
    spans: list[Span]
    alloy: Alloy
    laminate: Laminate
    flux: Flux
    channel_names: Sequence[str]
    ceilings_cdeg: Sequence[int]
    heater_watts: float | None
    power_cap: float
    socket: Socket
    guard_model: GuardModel | None = None  # of an identified heater
    zones: Zones | None = None

    def peak_c(self) -> float:
        return peak_cdeg(self.profile) / 100

    def ramps(self) -> Iterator[tuple[Location, Span, Ramp]]:
        for span in self.spans:
            if isinstance(span.stage, Ramp):
                yield ("stages", span.index), span, span.stage

    def holds(self) -> Iterator[tuple[Location, Hold]]:
        for span in self.spans:
            if isinstance(span.stage, Hold):
                yield ("stages", span.index), span.stage

    def hot_airs(self) -> Iterator[tuple[Location, Span, HotAir]]:
        for span in self.spans:
            if isinstance(span.stage, HotAir):
                yield ("stages", span.index), span, span.stage

    def powers(self) -> Iterator[tuple[Location, Power]]:
        for span in self.spans:
            if isinstance(span.stage, Power):
                yield ("stages", span.index), span.stage

    def asked_c(self) -> Iterator[tuple[Location, float]]:
        """Yield each temperature that the heater may be asked for, with its place."""
        for location, _span, ramp in self.ramps():
            yield (*location, "to_c"), ramp.to_c
        ceiling_c = self.profile.ceiling_c
        if ceiling_c is not None and ceiling_c > self.peak_c():
            yield ("ceiling_c",), ceiling_c

    def sensors(self) -> Iterator[tuple[str, Location, Sensor]]:
        for name, sensor in self.profile.sensors.items():
            yield name, ("sensors", name), sensor
