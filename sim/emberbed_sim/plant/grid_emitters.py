"""Emitters under the board by kind, where they lie, which zone feeds them, what the mains gives.

Frozen dataclasses in bench units (mm, W, s, degC). Makers state warm-up times loosely, so a kind's
heat capacity carries a spread and `scatter_emitters` draws from it. Vendor tables give the largest
temperature and the radiant share; the other figures are from memory, to be swept.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from random import Random

import numpy as np

from emberbed_sim.plant.parameters import _positive, _share

MOST_EMITTERS = 6
MOST_ZONES = 4


@dataclass(frozen=True)
class EmitterKind:
    """One way to build an emitter; per m2 of the face that looks at the board.

    A kind with a filament sends most of its power as short-wave radiation at once and keeps the
    rest in its body (tube and reflector), the slow tail. The others are one body.
    """

    name: str
    emissivity: float
    back_emissivity: float  # of the face's area, seen by the housing
    heat_j_m2_k: float
    heat_spread: float  # the true value lies within a factor 1 - this .. 1 + this
    convection_w_m2_k: float  # both sides together, to the air of the housing
    hottest_c: float  # vendor tables
    lag_s: tuple[float, float]  # time constant when hot, as leaflets have it; from memory
    filament_c: float = 0.0  # at rated power; 0 for no filament
    filament_lag_s: float = 0.0  # small steps at rated power
    body_share: float = 1.0  # of the filament's radiation that the emitter itself absorbs

    @property
    def has_filament(self) -> bool:
        """Return whether a filament feeds the body."""
        return self.filament_c > 0


KINDS = {
    kind.name: kind
    for kind in (
        EmitterKind("ceramic", 0.92, 0.15, 18e3, 0.5, 8.0, 700.0, (120.0, 240.0)),
        # as the lumped bench: 120 J/K and 0.4 W/K on its face of 220 x 150 mm
        EmitterKind("quartz", 0.85, 0.10, 3.64e3, 0.5, 12.1, 871.0, (15.0, 40.0)),
        EmitterKind(
            "halogen", 0.85, 0.10, 1.2e3, 0.5, 12.1, 2204.0, (0.2, 2.0),
            filament_c=2200.0, filament_lag_s=0.3, body_share=0.14,  # 86 % radiant: vendor table
        ),
    )
}  # fmt: skip


@dataclass(frozen=True)
class GridEmitter:
    """One rectangular emitter; x and y of its middle are counted from the board's middle."""

    kind: str | EmitterKind = "quartz"  # a name of KINDS, or a row of one's own
    watts: float = 1000.0  # at nominal mains voltage
    x_mm: float = 0.0
    y_mm: float = 0.0
    length_mm: float = 220.0
    width_mm: float = 150.0
    zone: int = 0
    heat_factor: float = 1.0  # times the kind's heat capacity and filament lag
    strength: float = 1.0  # of its rated power: 0 is a broken emitter, 0.9 an aged one

    def __post_init__(self) -> None:
        if isinstance(self.kind, str) and self.kind not in KINDS:
            raise ValueError(
                f"GridEmitter: kind is '{self.kind}'; the kinds are {', '.join(KINDS)}."
            )
        if not 0 <= self.zone < MOST_ZONES:
            raise ValueError(
                f"GridEmitter: zone is {self.zone}; give a number from 0 to {MOST_ZONES - 1}."
            )
        _positive(self, "watts", "length_mm", "width_mm", "heat_factor")
        _share(self, "strength")

    @property
    def build(self) -> EmitterKind:
        """Return the kind's row."""
        return KINDS[self.kind] if isinstance(self.kind, str) else self.kind

    @property
    def area_m2(self) -> float:
        """Return the area of the face."""
        return self.length_mm * self.width_mm * 1e-6

    @property
    def heat_capacity_j_k(self) -> float:
        """Return the heat capacity of the body."""
        return self.build.heat_j_m2_k * self.heat_factor * self.area_m2

    @property
    def extent_mm(self) -> tuple[float, float, float, float]:
        """Return (x_low, x_high, y_low, y_high)."""
        half_x, half_y = self.length_mm / 2, self.width_mm / 2
        return self.x_mm - half_x, self.x_mm + half_x, self.y_mm - half_y, self.y_mm + half_y


def check_emitters(emitters: Sequence[GridEmitter]) -> None:
    """Refuse a bank that cannot be built: too many, overlapping, a zone left out."""
    if not 1 <= len(emitters) <= MOST_EMITTERS:
        raise ValueError(
            f"The bench has {len(emitters)} emitters; give it 1 to {MOST_EMITTERS} of them."
        )
    zones = {emitter.zone for emitter in emitters}
    if zones != set(range(len(zones))):
        raise ValueError(
            f"The emitters use zones {sorted(zones)}; number the zones 0, 1, ... without a gap."
        )
    for later, one in enumerate(emitters, 1):
        for other in emitters[later:]:
            if overlap_mm2(one.extent_mm, other.extent_mm) > 1e-6:
                raise ValueError(
                    f"The emitters at ({one.x_mm:g}, {one.y_mm:g}) and ({other.x_mm:g}, "
                    f"{other.y_mm:g}) mm overlap; move one of them."
                )


def overlap_mm2(one: Sequence[float], other: Sequence[float]) -> float:
    """Return the common area of two rectangles (x_low, x_high, y_low, y_high)."""
    across = min(one[1], other[1]) - max(one[0], other[0])
    along = min(one[3], other[3]) - max(one[2], other[2])
    return max(across, 0.0) * max(along, 0.0)


def zone_watts(emitters: Sequence[GridEmitter]) -> tuple[float, ...]:
    """Return the rated power of each zone."""
    zones = 1 + max(emitter.zone for emitter in emitters)
    return tuple(sum(e.watts for e in emitters if e.zone == zone) for zone in range(zones))


def zone_shares(emitters: Sequence[GridEmitter]) -> np.ndarray:
    """Return each emitter's part of its zone's power, [emitter, zone]; a broken one has none."""
    rated_w = zone_watts(emitters)
    shares = np.zeros((len(emitters), len(rated_w)))
    for row, emitter in enumerate(emitters):
        shares[row, emitter.zone] = emitter.watts / rated_w[emitter.zone] * emitter.strength
    return shares


def supplied_w(
    on_share: Sequence[float] | np.ndarray,
    rated_w: Sequence[float],
    mains_v: float,
    nominal_v: float,
    source_ohm: float,
) -> np.ndarray:
    """Return the power of each zone: resistors on a mains of `mains_v` that sags under load.

    `on_share` (0..1 per zone, last axis) is the part of the tick in which the zone is on; the
    sag is that of the mean current.
    """
    siemens = np.asarray(rated_w, dtype=float) / nominal_v**2 * np.asarray(on_share, dtype=float)
    at_load_v = mains_v / (1 + source_ohm * siemens.sum(axis=-1, keepdims=True))
    return siemens * at_load_v**2


def scatter_emitters(emitters: Sequence[GridEmitter], random: Random) -> tuple[GridEmitter, ...]:
    """Return the same emitters with heat capacities drawn from their kinds' spreads."""
    return tuple(
        replace(
            emitter,
            heat_factor=emitter.heat_factor
            * random.uniform(1 - emitter.build.heat_spread, 1 + emitter.build.heat_spread),
        )
        for emitter in emitters
    )
