"""Several zones of one heater: what steers each, how they share the power, what the socket bears.

`Zones` is what is known of the heater; a profile may name the sensor of a zone. From both come the
sensor and the share of each zone (`steering`), and the most power that keeps the shares and stays
on the socket (`power_cap`): zones that do not fit together take turns on the device, so at most
`at_once` of them are on in any tick. A heater of one zone is left as it is.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from emberbed.profiles.model import Power, Profile
from emberbed.profiles.plan_bytes import Row
from emberbed.profiles.sensor_shape import STEERS
from emberbed.profiles.whole_rules import Location
from emberbed_fw.units import FULL_POWER_Q15


class Coupling(NamedTuple):
    """How fast each sensor rises by each zone at full power: a row a sensor, K/s.

    `sensors` by name; the first ones are those that the zones are steered by, in their order.
    """

    sensors: tuple[str, ...]
    rise_k_per_s: tuple[tuple[float, ...], ...]


class Steering(NamedTuple):
    """By zone: the sensor that it follows, and its part of what is asked of the heater, about 1."""

    sensors: tuple[str, ...]
    shares: tuple[float, ...]


@dataclass(frozen=True)
class Zones:
    """Zones of a device's heater in their order, watts at full power; socket_w 0: not known."""

    watts: tuple[int, ...]
    socket_w: float = 0
    coupling: Coupling | None = None  # of an identified heater

    @property
    def several(self) -> bool:
        return len(self.watts) > 1

    @property
    def total_w(self) -> int:
        return sum(self.watts)

    @property
    def at_once(self) -> int:
        """Return how many zones may be on together, whichever they are."""
        largest = sorted(self.watts, reverse=True)
        fit = [count for count in range(len(largest) + 1) if sum(largest[:count]) <= self.socket_w]
        return fit[-1]

    def steering(self, profile: Profile) -> Steering:
        """Return what steers each zone: the profile's sensor, the heater file's, the control."""
        named = {sensor.zone: name for name, sensor in profile.sensors.items()}
        control = profile.control_sensor()
        sensors = [control]
        for zone in range(1, len(self.watts)):
            sensors.append(named.get(zone) or self._usual(profile, zone, sensors) or control)
        return Steering(tuple(sensors), self._shares(sensors))

    def power_cap(self, profile: Profile, cap: float) -> float:
        """Return the most that may be asked of the heater, in parts of full power."""
        if not self.several:
            return cap
        shares = self.steering(profile).shares
        taken_w = sum(watts * share for watts, share in zip(self.watts, shares, strict=True))
        return min(cap, 1 / max(shares), self.at_once / sum(shares), self.socket_w / taken_w)

    def mistakes(self, profile: Profile) -> Iterator[tuple[Location, str]]:
        """Yield (location, sentence) for what this heater cannot do."""
        for location, zone in _named_zones(profile):
            if zone >= len(self.watts):
                has = f"zones 0 to {len(self.watts) - 1}" if self.several else "one zone, number 0"
                yield (
                    location,
                    f"zone = {zone}, and the device's heater has {has}; write one of its",
                )
        if not self.several:
            return
        if self.socket_w <= 0:
            yield (
                (),
                f"the device's heater has {len(self.watts)} zones, and the device does not know"
                " what its socket gives, so it cannot share it out; write socket_watts into the"
                " device's description",
            )
            return
        for zone, watts in enumerate(self.watts):
            if watts > self.socket_w:
                yield (
                    (),
                    f"zone {zone} alone takes {watts} W and the socket gives {self.socket_w:g} W;"
                    " feed the heater from a larger circuit, or split the zone",
                )

    def _usual(self, profile: Profile, zone: int, taken: Sequence[str]) -> str | None:
        """Return the sensor that the heater file steers this zone by, where the profile has it."""
        if self.coupling is None or zone >= len(self.coupling.sensors):
            return None
        name = self.coupling.sensors[zone]
        sensor = profile.sensors.get(name)
        if sensor is None or sensor.role not in STEERS or sensor.in_jet or name in taken:
            return None
        return name

    def _shares(self, sensors: Sequence[str]) -> tuple[float, ...]:
        """Return the shares that warm these sensors alike, the first as fast as all zones alike."""
        alike = (1.0,) * len(sensors)
        coupling = self.coupling
        if coupling is None or len(set(sensors)) < len(sensors):
            return alike
        if any(name not in coupling.sensors for name in sensors):
            return alike
        from emberbed.heater.coupling import even_shares  # numpy: only for an identified heater

        return even_shares(coupling, sensors) or alike


def share_out(
    profile: Profile, stages: Sequence[Row], knots: list[Row], shares: Sequence[float]
) -> list[Row]:
    """Return the knots with the feedforward of every zone; a power stage may mean one zone."""
    shared: list[Row] = []
    for stage, row in zip(profile.stages, stages, strict=True):
        own = knots[row["first_knot"] : row["first_knot"] + row["knots"]]
        if isinstance(stage, Power) and stage.zone is not None:
            alone = {_field(stage.zone): round(stage.percent / 100 * FULL_POWER_Q15)}
            shared += [{**knot, **alone} for knot in own]
        else:
            shared += [_shared(knot, shares) for knot in own]
    return shared


def _shared(knot: Row, shares: Sequence[float]) -> Row:
    whole = knot.get(_field(0), 0)
    powers = {_field(zone): round(whole * share) for zone, share in enumerate(shares)}
    return {**knot, **powers}


def _field(zone: int) -> str:
    return f"feedforward{zone}_q15"


def _named_zones(profile: Profile) -> Iterator[tuple[Location, int]]:
    for name, sensor in profile.sensors.items():
        if sensor.zone is not None:
            yield ("sensors", name, "zone"), sensor.zone
    for index, stage in enumerate(profile.stages):
        if isinstance(stage, Power) and stage.zone is not None:
            yield ("stages", index, "zone"), stage.zone
