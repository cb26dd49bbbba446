"""What a bench with a gridded board is made of, beside its emitters (grid_emitters).

Frozen dataclasses in bench units (g, mm, W, s, degC). x and y are counted from the board's middle,
x along its length. Weight, length and width are enough to declare a board; a copper stack-up makes
it exact. "From memory" marks a plausible value nobody measured here, to be swept.
"""

from dataclasses import dataclass, field

from emberbed_sim.plant.grid_emitters import GridEmitter, check_emitters, overlap_mm2
from emberbed_sim.plant.natural_convection import largest_laminar_m
from emberbed_sim.plant.parameters import (
    BoardParameters,
    ChipParameters,
    _positive,
    _share,
)

FACES = ("top", "bottom")
SIDES = ("x_low", "x_high", "y_low", "y_high")
PART_J_KG_K = 700.0  # a package: mould, laminate, silicon; from memory
STEEL_J_KG_K = 480.0  # handbook value, from memory


@dataclass(frozen=True)
class MountedPart:
    """A big chip or a metal shield on the upper face, with its own temperature."""

    name: str
    length_mm: float
    width_mm: float
    mass_g: float  # part of what the kitchen scale says
    contact_w_m2_k: float  # to the board under it: balls, or a soldered rim and the air inside
    x_mm: float = 0.0
    y_mm: float = 0.0
    j_kg_k: float = PART_J_KG_K
    emissivity: float = 0.9  # plastic parts 0.9, metal parts 0.15 (camera makers' tables)

    def __post_init__(self) -> None:
        _positive(self, "length_mm", "width_mm", "mass_g", "contact_w_m2_k", "j_kg_k")
        _share(self, "emissivity")

    @property
    def extent_mm(self) -> tuple[float, float, float, float]:
        """Return (x_low, x_high, y_low, y_high)."""
        half_x, half_y = self.length_mm / 2, self.width_mm / 2
        return self.x_mm - half_x, self.x_mm + half_x, self.y_mm - half_y, self.y_mm + half_y

    @property
    def area_m2(self) -> float:
        """Return the area of its upper face."""
        return self.length_mm * self.width_mm * 1e-6

    @property
    def heat_capacity_j_k(self) -> float:
        """Return the heat capacity."""
        return self.mass_g * 1e-3 * self.j_kg_k


def chip_part(chip: ChipParameters, x_mm: float = 0.0, y_mm: float = 0.0) -> MountedPart:
    """Return the lumped bench's chip as a mounted part called `chip`."""
    return MountedPart(
        "chip", chip.length_mm, chip.width_mm,
        chip.heat_capacity_j_m2_k * chip.area_m2 / PART_J_KG_K * 1e3, chip.contact_w_m2_k,
        x_mm, y_mm, PART_J_KG_K, chip.emissivity,
    )  # fmt: skip


@dataclass(frozen=True)
class Stackup:
    """Laminate and copper; `coverage` is one share, or rows of one per cell from y_low up."""

    copper_layers: int = 8
    copper_um: float = 35.0
    coverage: float | tuple[tuple[float, ...], ...] = 0.7
    thickness_mm: float = 1.6


@dataclass(frozen=True)
class GridBoard:
    """The assembly being heated; masses of the mounted parts are inside the board's mass."""

    scale: BoardParameters = field(default_factory=BoardParameters)
    stackup: Stackup | None = None  # none: the weight tells, as for the lumped board
    parts: tuple[MountedPart, ...] = ()
    cells: tuple[int, int] = (24, 12)  # along length and width
    thickness_mm: float = 1.6  # where there is no stack-up
    through_w_m_k: float = 0.3  # laminate across its layers; published 0.29 and 0.34
    via_w_m_k: float = 0.2  # added by 2 or 3 plated holes of 0.3 mm per cm2
    components_on_top: float = 0.75  # of the small components' heat capacity; from memory
    top_emissivity: float | None = None  # as the underside
    short_wave_absorptivity: float = 0.8  # for filaments; lacquers 0.5 to 0.9 at 1-3 um
    rim_w_m_k: tuple[float, float, float, float] = (
        0.024,
        0.024,
        0.024,
        0.024,
    )  # per SIDES; 15 W/m2K

    def __post_init__(self) -> None:
        if min(self.cells) < 1:
            raise ValueError(f"GridBoard: cells is {self.cells}; give two numbers above 0.")
        _positive(self, "thickness_mm", "across_w_m_k")
        _share(self, "components_on_top")
        _share(self, "short_wave_absorptivity")
        if self.top_emissivity is not None:
            _share(self, "top_emissivity")
        self._check_parts()
        if self.scale.convection > 0 and self.plate_length_m > largest_laminar_m():
            raise ValueError(
                f"A board of {self.scale.length_mm:g} x {self.scale.width_mm:g} mm has turbulent "
                f"air over it, which this plant does not know; give area / perimeter up to "
                f"{largest_laminar_m() * 1e3:.0f} mm."
            )

    @property
    def across_w_m_k(self) -> float:
        """Return the conductivity of laminate and plated holes through the board."""
        return self.through_w_m_k + self.via_w_m_k

    @property
    def plate_length_m(self) -> float:
        """Return area over perimeter, the length of the plate correlations."""
        return self.scale.area_m2 / (2e-3 * (self.scale.length_mm + self.scale.width_mm))

    @property
    def extent_mm(self) -> tuple[float, float, float, float]:
        """Return (x_low, x_high, y_low, y_high)."""
        half_x, half_y = self.scale.length_mm / 2, self.scale.width_mm / 2
        return -half_x, half_x, -half_y, half_y

    @property
    def bare_mass_g(self) -> float:
        """Return what is left of the weight without the mounted parts."""
        return self.scale.mass_g - sum(part.mass_g for part in self.parts)

    def _check_parts(self) -> None:
        if self.bare_mass_g <= 0:
            raise ValueError(
                f"The mounted parts weigh more than the board's {self.scale.mass_g:g} g; "
                "the board's weight includes them."
            )
        for later, part in enumerate(self.parts, 1):
            on_board_mm2 = overlap_mm2(part.extent_mm, self.extent_mm)
            if on_board_mm2 < part.length_mm * part.width_mm * (1 - 1e-9):
                raise ValueError(f"Part '{part.name}' reaches over the board's rim; move it.")
            for other in self.parts[later:]:
                if part.name == other.name:
                    raise ValueError(f"Two parts are called '{part.name}'; rename one.")
                if overlap_mm2(part.extent_mm, other.extent_mm) > 1e-6:
                    raise ValueError(f"Parts '{part.name}' and '{other.name}' overlap; move one.")


@dataclass(frozen=True)
class GridSurroundings:
    """Housing below and hood, lamp arm and air above, which emitters and board slowly warm.

    The underside and the emitters see the housing, the upper face sees what is above.
    """

    room_c: float = 23.0
    housing_j_k: float = 3500.0  # about 5 kg of steel and aluminium; from memory, like the rest
    above_j_k: float = 500.0
    housing_loss_w_k: float = 6.0  # to the room
    above_loss_w_k: float = 12.0
    exchange_w_k: float = 1.0  # between the two

    def __post_init__(self) -> None:
        _positive(self, "housing_j_k", "above_j_k")


@dataclass(frozen=True)
class JetShape:
    """Hot air from above: h and the air's reach fall off as 1 / (1 + (r / radius)^2).

    Published correlations for a 10 mm round jet of 40 l/min give 100 to 150 W/m2K under it.
    """

    middle_w_m2_k: float = 140.0
    h_radius_mm: float = 20.0  # where h is half; from memory, like the next
    air_radius_mm: float = 45.0  # where the air is half mixed with that of the surroundings
    x_mm: float = 0.0
    y_mm: float = 0.0

    def __post_init__(self) -> None:
        _positive(self, "middle_w_m2_k", "h_radius_mm", "air_radius_mm")


@dataclass(frozen=True)
class DraughtShape:
    """Room air along the upper face from one side; h falls with 1 / sqrt(distance)."""

    mean_w_m2_k: float = 8.0  # about 0.5 m/s over 180 mm; from memory
    side: str = "x_low"

    def __post_init__(self) -> None:
        if self.side not in SIDES:
            raise ValueError(
                f"DraughtShape: side is '{self.side}'; the sides are {', '.join(SIDES)}."
            )
        _positive(self, "mean_w_m2_k")


@dataclass(frozen=True)
class Place:
    """A named spot of the board where a thermocouple may sit."""

    name: str
    x_mm: float
    y_mm: float
    face: str = "top"

    def __post_init__(self) -> None:
        if self.face not in FACES:
            raise ValueError(
                f"Place '{self.name}': face is '{self.face}'; give {' or '.join(FACES)}."
            )


DEFAULT_PARTS = (
    chip_part(ChipParameters()),
    MountedPart("shield", 40, 30, 6.0, 60.0, 55.0, 25.0, STEEL_J_KG_K, 0.15),  # from memory
)


@dataclass(frozen=True)
class GridBench:
    """Everything the grid plant needs; the defaults are the 240 g board over 1 kW of quartz."""

    board: GridBoard = field(default_factory=lambda: GridBoard(parts=DEFAULT_PARTS))
    emitters: tuple[GridEmitter, ...] = (GridEmitter(),)
    gap_mm: float = 40.0  # emitters' faces to the underside of the board
    surroundings: GridSurroundings = field(default_factory=GridSurroundings)
    jet: JetShape = field(default_factory=JetShape)
    draught: DraughtShape = field(default_factory=DraughtShape)
    places: tuple[Place, ...] = ()  # beside the standard ones

    def __post_init__(self) -> None:
        _positive(self, "gap_mm")
        check_emitters(self.emitters)
        x_low, x_high, y_low, y_high = self.board.extent_mm
        for place in self.places:
            if not (x_low <= place.x_mm <= x_high and y_low <= place.y_mm <= y_high):
                raise ValueError(
                    f"Place '{place.name}' at ({place.x_mm:g}, {place.y_mm:g}) mm is not on the "
                    f"board, which reaches {x_high:g} mm along and {y_high:g} mm across."
                )
