"""What a simulated bench is made of: sizes, masses, surfaces, switches, sensors and mains.

Frozen dataclasses in bench units (g, mm, W, s, degC); the derived SI values are properties. Every
default says where it comes from; "from memory" means a plausible engineering value nobody measured
here, to be swept rather than trusted. Physics only: nothing here knows a controller.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

TICK_S = 0.1
CHANNELS = 8
PLACES = ("board_centre", "board_edge", "emitter")

# Laminate with copper, 1.6 mm: (kg/m2, J/m2 K, W/m K in plane), from bare FR-4 over 2 and 4 layers
# of 35 um at 50 % to 8 layers at 70 %. Parallel rule over FR-4 (1850 kg/m3, 1100 J/kg K, 0.8 W/m K)
# and copper (8960, 385, 390); the two specific heats are from memory.
LAMINATES = (
    (2.96, 3256.0, 0.8),
    (3.21, 3306.0, 9.3),
    (3.46, 3355.0, 17.8),
    (4.35, 3533.0, 48.5),
)
LAMINATE_THICKNESS_M = 0.0016
COMPONENT_J_KG_K = 700.0  # beyond laminate and copper: plastics, ceramics, metals; from memory


def _positive(part: object, *names: str) -> None:
    for name in names:
        if not 0 < getattr(part, name) < float("inf"):
            raise ValueError(
                f"{type(part).__name__}: {name} is {getattr(part, name)}; give a number above 0."
            )


def _share(part: object, name: str) -> None:
    if not 0 <= getattr(part, name) <= 1:
        raise ValueError(
            f"{type(part).__name__}: {name} is {getattr(part, name)}; give a number from 0 to 1."
        )


@dataclass(frozen=True)
class EmitterParameters:
    """One zone: a bank of quartz emitters with a reflector behind, facing the board from below."""

    watts: float = 1000.0  # at nominal mains voltage
    length_mm: float = 220.0  # face of the bank, 30 kW/m2; from memory, like the gap
    width_mm: float = 150.0
    gap_mm: float = 40.0  # to the underside of the board
    emissivity: float = 0.85  # quartz beyond 4 um; from memory
    heat_capacity_j_k: float = 120.0  # tau 20..40 s when hot, as quartz tubes have; from memory
    convection_w_k: float = 0.4  # so that 3/4 is radiated; vendor tables give quartz tubes 61 %

    def __post_init__(self) -> None:
        _positive(self, "length_mm", "width_mm", "gap_mm", "heat_capacity_j_k")
        _share(self, "emissivity")

    @property
    def size_mm(self) -> tuple[float, float]:
        """Return (length, width) of the bank's face in mm."""
        return self.length_mm, self.width_mm


@dataclass(frozen=True)
class BoardParameters:
    """The assembly being heated, as a kitchen scale and a ruler give it."""

    mass_g: float = 240.0
    length_mm: float = 180.0
    width_mm: float = 120.0
    emissivity: float = 0.9  # glass-fibre laminate 0.91, plastic parts 0.9 (camera makers' tables)
    convection: float = 1.0  # times the natural convection of a bare horizontal plate
    edge_convection: float = 1.25  # the rim over the middle; from memory
    fan_w_m2_k: float = 20.0  # added on each face by the fan; from memory

    def __post_init__(self) -> None:
        _positive(self, "mass_g", "length_mm", "width_mm")
        _share(self, "emissivity")

    @property
    def size_mm(self) -> tuple[float, float]:
        """Return (length, width) in mm."""
        return self.length_mm, self.width_mm

    @property
    def area_m2(self) -> float:
        """Return the area of one face."""
        return self.length_mm * self.width_mm * 1e-6

    @property
    def areal_mass_kg_m2(self) -> float:
        """Return the mass over one square metre of board."""
        return self.mass_g * 1e-3 / self.area_m2

    @property
    def heat_capacity_j_k(self) -> float:
        """Return the heat capacity: laminate and copper first, what is heavier is components."""
        components = max(0.0, self.areal_mass_kg_m2 - LAMINATES[-1][0]) * COMPONENT_J_KG_K
        return (_laminate(self.areal_mass_kg_m2, 1) + components) * self.area_m2

    @property
    def sheet_w_k(self) -> float:
        """Return the in-plane conductance of a square of this board, any size."""
        return _laminate(self.areal_mass_kg_m2, 2) * LAMINATE_THICKNESS_M


@dataclass(frozen=True)
class SurroundingsParameters:
    """Housing, bench plate and the air in between, which emitter and board slowly warm."""

    heat_capacity_j_k: float = 4000.0  # about 5 kg of steel and aluminium; from memory
    loss_w_k: float = 10.0  # to the room; from memory
    room_c: float = 23.0
    cold_junction_lag_s: float = 300.0  # a closed electronics box: +8 K in 15 min, users report
    cold_junction_share: float = 0.25  # of the surroundings' rise over the room; from memory

    def __post_init__(self) -> None:
        _positive(self, "heat_capacity_j_k", "cold_junction_lag_s")
        _share(self, "cold_junction_share")


@dataclass(frozen=True)
class SensorPlacement:
    """One thermocouple: channel number = its position in the bench's list."""

    name: str
    where: str = "board_centre"  # one of PLACES
    lag_s: float = 1.5  # bead under a layer of tape; from memory
    contact: float = 1.0  # 1 reads its place, 0 hangs in the air of the surroundings
    stray_ir: float = 0.0  # K of bead per kW/m2 of net emitter radiation

    def __post_init__(self) -> None:
        if self.where not in PLACES:
            raise ValueError(
                f"Sensor '{self.name}' is placed at '{self.where}'; "
                f"the places are {', '.join(PLACES)}."
            )
        _positive(self, "lag_s")
        _share(self, "contact")


@dataclass(frozen=True)
class MainsParameters:
    """Supply voltage; the emitters are resistors, so power goes with its square."""

    nominal_v: float = 230.0
    actual_v: float = 230.0

    @property
    def power_factor(self) -> float:
        """Return the emitter power over its rated power."""
        return (self.actual_v / self.nominal_v) ** 2


DEFAULT_SENSORS = (
    SensorPlacement("top_near_chip", "board_centre", stray_ir=0.03),
    SensorPlacement("edge", "board_edge", stray_ir=0.03),
)


@dataclass(frozen=True)
class BenchParameters:
    """Everything of one bench; the defaults are a 240 g board over 1 kW of quartz emitters."""

    emitter: EmitterParameters = field(default_factory=EmitterParameters)
    board: BoardParameters = field(default_factory=BoardParameters)
    surroundings: SurroundingsParameters = field(default_factory=SurroundingsParameters)
    mains: MainsParameters = field(default_factory=MainsParameters)
    sensors: tuple[SensorPlacement, ...] = DEFAULT_SENSORS
    noise_c: float = 0.1  # rms at the hot junction, before the converter rounds; from memory

    def __post_init__(self) -> None:
        if not 1 <= len(self.sensors) <= CHANNELS:
            raise ValueError(
                f"The bench has {len(self.sensors)} sensors; give it 1 to {CHANNELS} of them."
            )


def bench_for_board(
    mass_g: float, length_mm: float, width_mm: float, sensors: Sequence[SensorPlacement]
) -> BenchParameters:
    """Return the default bench with this board (g, mm) and these sensors on channels 0, 1, ..."""
    return BenchParameters(
        board=BoardParameters(mass_g, length_mm, width_mm), sensors=tuple(sensors)
    )


def _laminate(areal_mass_kg_m2: float, column: int) -> float:
    """Return a column of LAMINATES between its rows, in proportion to mass below the first."""
    if areal_mass_kg_m2 <= LAMINATES[0][0]:
        return LAMINATES[0][column] * areal_mass_kg_m2 / LAMINATES[0][0]
    for low, high in pairwise(LAMINATES):
        if areal_mass_kg_m2 <= high[0]:
            share = (areal_mass_kg_m2 - low[0]) / (high[0] - low[0])
            return low[column] + share * (high[column] - low[column])
    return LAMINATES[-1][column]
