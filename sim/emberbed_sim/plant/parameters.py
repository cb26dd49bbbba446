"""What a simulated bench is made of: sizes, masses, surfaces, switches, sensors and mains.

Frozen dataclasses in bench units (g, mm, W, s, degC); the derived SI values are properties. Every
default says where it comes from; "from memory" means a plausible engineering value nobody measured
here, to be swept rather than trusted. Physics only: nothing here knows a controller.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from emberbed_sim.plant.laminate import HEAVIEST_KG_M2, laminate

TICK_S = 0.1
ZERO_C_K = 273.15
CHANNELS = 8
# What a bead sees besides its place, by place; all from memory. K per kW/m2 of net emitter
# radiation, and how far hot air pulls the bead towards its own temperature (share of the way) while
# the nozzle is over the chip and while it is over the board beside it, where a control sensor sits.
PLACES = {
    "board_centre": (0.03, 0.04, 0.30),
    "board_edge": (0.03, 0.0, 0.02),
    "emitter": (0.0, 0.0, 0.0),
    "chip_top": (0.0, 0.08, 0.02),
}

LAMINATE_THICKNESS_M = 0.0016
CONVERTERS = ("MAX31855K", "MAX31856", "MAX6675")  # what a couple may be read by
CENTRE_SHARE = 0.5  # of the board's area; the rest is its edge
LARGEST_CHIP_SHARE = 0.5  # of the board's shorter side: the chip is a part of the board's middle
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
    """A bank of quartz emitters with a reflector behind, facing the board from below.

    One zone; or two, where its middle has watts of its own: the middle is zone 0, what lies around
    it zone 1. A lumped bench knows no places, so it has one.
    """

    watts: float = 1000.0  # at nominal mains voltage, all of it
    length_mm: float = 220.0  # face of the bank, 30 kW/m2; from memory, like the gap
    width_mm: float = 150.0
    gap_mm: float = 40.0  # to the underside of the board
    emissivity: float = 0.85  # quartz beyond 4 um; from memory
    heat_capacity_j_k: float = 120.0  # tau 20..40 s when hot, as quartz tubes have; from memory
    convection_w_k: float = 0.4  # so that 3/4 is radiated; vendor tables give quartz tubes 61 %
    middle_watts: float = 0.0  # of these, the middle's; 0: one zone
    middle_mm: tuple[float, float] = (120.0, 80.0)  # its length and width

    def __post_init__(self) -> None:
        _positive(self, "length_mm", "width_mm", "gap_mm", "heat_capacity_j_k")
        _share(self, "emissivity")
        if self.middle_watts:
            self._check_middle()

    @property
    def size_mm(self) -> tuple[float, float]:
        """Return (length, width) of the bank's face in mm."""
        return self.length_mm, self.width_mm

    @property
    def zone_watts(self) -> tuple[float, ...]:
        """Return the power of each zone."""
        if not self.middle_watts:
            return (self.watts,)
        return self.middle_watts, self.watts - self.middle_watts

    def _check_middle(self) -> None:
        least_mm = min(all_mm - mm for all_mm, mm in zip(self.size_mm, self.middle_mm, strict=True))
        if not 0 < self.middle_watts < self.watts or least_mm <= 0 or min(self.middle_mm) <= 0:
            raise ValueError(
                "The middle is no part of its bank; give it fewer watts, a smaller face."
            )


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
        components = max(0.0, self.areal_mass_kg_m2 - HEAVIEST_KG_M2) * COMPONENT_J_KG_K
        return (laminate(self.areal_mass_kg_m2, 1) + components) * self.area_m2

    @property
    def sheet_w_k(self) -> float:
        """Return the in-plane conductance of a square of this board, any size."""
        return laminate(self.areal_mass_kg_m2, 2) * LAMINATE_THICKNESS_M


@dataclass(frozen=True)
class ChipParameters:
    """A large ball-array package on the middle of the upper face; the board's mass includes it."""

    length_mm: float = 27.0  # a usual body size; from memory
    width_mm: float = 27.0
    heat_capacity_j_m2_k: float = 5000.0  # 2.2 mm of laminate, mould, solder, thin lid; from memory
    contact_w_m2_k: float = 180.0  # 0.13 W/K: makers state 6 to 10 K/W die to board; from memory
    emissivity: float = 0.9  # plastic parts (camera makers' tables)

    def __post_init__(self) -> None:
        _positive(self, "length_mm", "width_mm", "heat_capacity_j_m2_k", "contact_w_m2_k")
        _share(self, "emissivity")

    @property
    def area_m2(self) -> float:
        """Return the area of its upper face."""
        return self.length_mm * self.width_mm * 1e-6


@dataclass(frozen=True)
class NozzleParameters:
    """A hand-held hot-air tool about 20 mm above the chip; coefficients are for its own air.

    Published correlations for a 10 mm round jet of 40 l/min give 100 to 150 W/m2K on the chip.
    """

    chip_w_m2_k: float = 130.0
    board_w_m2_k: float = 50.0  # around the chip, where the jet has spread; from memory
    board_mm2: float = 900.0  # a disc of 45 mm without the chip; from memory
    drift_mm: float = 20.0  # how far a tired hand strays; from memory

    def __post_init__(self) -> None:
        _positive(self, "chip_w_m2_k", "board_w_m2_k", "board_mm2", "drift_mm")


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
    through_s: float = 0.0  # lag of the board's thickness before it, where the plant has none
    contact: float = 1.0  # 1 reads its place, 0 hangs in the air of the surroundings
    stray_ir: float = 0.0  # K of bead per kW/m2 of net emitter radiation
    air_on_chip: float = 0.0  # share of the way to the hot air's temperature, nozzle over the chip
    air_beside: float = 0.0  # the same, nozzle over the board beside the chip
    at_mm: tuple[float, float] | None = None  # on a grid: this spot of the board, not its place
    converter: str = CONVERTERS[0]

    def __post_init__(self) -> None:
        if self.where not in PLACES:
            raise ValueError(
                f"Sensor '{self.name}' is placed at '{self.where}'; "
                f"the places are {', '.join(PLACES)}."
            )
        if self.converter not in CONVERTERS:
            raise ValueError(
                f"Sensor '{self.name}' is read by a '{self.converter}'; "
                f"the converters are {', '.join(CONVERTERS)}."
            )
        _positive(self, "lag_s")
        if self.through_s < 0:
            raise ValueError(
                f"Sensor '{self.name}' has a through_s of {self.through_s:g}; give 0 or more."
            )
        for name in ("contact", "air_on_chip", "air_beside"):
            _share(self, name)


@dataclass(frozen=True)
class MainsParameters:
    """Supply voltage; the emitters are resistors, so power goes with its square."""

    nominal_v: float = 230.0
    actual_v: float = 230.0

    @property
    def power_factor(self) -> float:
        """Return the emitter power over its rated power."""
        return (self.actual_v / self.nominal_v) ** 2


def sensor_at(name: str, where: str, converter: str = CONVERTERS[0]) -> SensorPlacement:
    """Return a sensor that sees what is usual at one of PLACES."""
    stray_ir, air_on_chip, air_beside = PLACES.get(where, (0.0, 0.0, 0.0))
    return SensorPlacement(
        name,
        where,
        stray_ir=stray_ir,
        air_on_chip=air_on_chip,
        air_beside=air_beside,
        converter=converter,
    )


DEFAULT_SENSORS = (sensor_at("top_near_chip", "board_centre"), sensor_at("edge", "board_edge"))


@dataclass(frozen=True)
class BenchParameters:
    """Everything of one bench; the defaults are a 240 g board over 1 kW of quartz emitters."""

    emitter: EmitterParameters = field(default_factory=EmitterParameters)
    board: BoardParameters = field(default_factory=BoardParameters)
    chip: ChipParameters = field(default_factory=ChipParameters)
    nozzle: NozzleParameters = field(default_factory=NozzleParameters)
    surroundings: SurroundingsParameters = field(default_factory=SurroundingsParameters)
    mains: MainsParameters = field(default_factory=MainsParameters)
    sensors: tuple[SensorPlacement, ...] = DEFAULT_SENSORS
    noise_c: float = 0.1  # rms at the hot junction, before the converter rounds; from memory

    def __post_init__(self) -> None:
        if not 1 <= len(self.sensors) <= CHANNELS:
            raise ValueError(
                f"The bench has {len(self.sensors)} sensors; give it 1 to {CHANNELS} of them."
            )
        most_mm = LARGEST_CHIP_SHARE * min(self.board.size_mm)
        if max(self.chip.length_mm, self.chip.width_mm) > most_mm:
            raise ValueError(
                f"The chip of {self.chip.length_mm:g} x {self.chip.width_mm:g} mm is too large for "
                f"the board; give it sides up to {most_mm:g} mm."
            )


def bench_for_board(
    mass_g: float, length_mm: float, width_mm: float, sensors: Sequence[SensorPlacement]
) -> BenchParameters:
    """Return the default bench with this board (g, mm) and these sensors on channels 0, 1, ...

    The chip is the usual one, or smaller where the board is too small for it.
    """
    board = BoardParameters(mass_g, length_mm, width_mm)
    chip_mm = min(ChipParameters.length_mm, LARGEST_CHIP_SHARE * min(board.size_mm))
    return BenchParameters(
        board=board, chip=ChipParameters(chip_mm, chip_mm), sensors=tuple(sensors)
    )
