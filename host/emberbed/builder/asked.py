"""What a person tells of a board to `emberbed board`, checked: sizes in mm, copper in %, mass in g.

`board_asked` reads it as written on the command line and raises BadBoard: one sentence that names
the option and the mend.
"""

from dataclasses import dataclass

from emberbed.plain_text import printable

SIZE_MM = (20.0, 400.0)
PART_MM = (3.0, 200.0)
THICKNESS_MM = (0.4, 6.4)
LAYERS = (1, 40)
COPPER_UM = 35.0  # 1 oz/ft2 is 34.8 um
CROWDED = {"sparse": 2.0, "usual": 6.0, "dense": 10.0}  # kg/m2 of parts; our estimate, no source
LARGEST_CHIP_SHARE = 0.5  # of the shorter side


class BadBoard(ValueError):
    """The board cannot be built; the text is one sentence."""


@dataclass(frozen=True)
class Shield:
    """A metal shield: its size, and its middle counted from the board's, in mm."""

    length_mm: float
    width_mm: float
    x_mm: float
    y_mm: float


@dataclass(frozen=True)
class BoardAsked:
    """A board; `mass_g` None: not weighed, then `crowded` says how many parts are on it."""

    length_mm: float
    width_mm: float
    thickness_mm: float = 1.6
    layers: int = 4
    copper_percent: float = 50.0
    chip_mm: float = 27.0
    shields: tuple[Shield, ...] = ()
    mass_g: float | None = None
    crowded: str = "usual"

    @property
    def area_m2(self) -> float:
        """Return the area of one face."""
        return self.length_mm * self.width_mm * 1e-6


def board_asked(
    size: str,
    thickness_mm: float,
    layers: int,
    copper_percent: float,
    chip_mm: float,
    shields: list[str],
    mass_g: float | None,
    crowded: str,
) -> BoardAsked:
    """Return the board, or raise BadBoard."""
    length_mm, width_mm = numbers("--size", size, 2, "LENGTH,WIDTH in mm such as 180,120")
    for value in (length_mm, width_mm):
        _within("--size", value, *SIZE_MM, "mm")
    _within("--thickness", thickness_mm, *THICKNESS_MM, "mm")
    _within("--layers", layers, *LAYERS, "copper layers")
    _within("--copper", copper_percent, 0, 100, "% of each layer")
    _within("--chip", chip_mm, *PART_MM, "mm")
    most_mm = LARGEST_CHIP_SHARE * min(length_mm, width_mm)
    if chip_mm > most_mm:
        raise BadBoard(
            f"--chip {chip_mm:g} is more than half of the board's shorter side; write up to"
            f" {most_mm:g} mm"
        )
    if crowded not in CROWDED:
        raise BadBoard(f'--parts "{printable(crowded)}" is none of {", ".join(CROWDED)}')
    if mass_g is not None:
        _within("--mass", mass_g, 1, 5000, "g")
    placed = tuple(_shield(one, length_mm, width_mm) for one in shields)
    return BoardAsked(
        length_mm, width_mm, thickness_mm, layers, copper_percent, chip_mm, placed, mass_g, crowded
    )


def numbers(option: str, written: str, count: int, form: str) -> list[float]:
    """Return numbers written with commas between them."""
    try:
        found = [float(part) for part in written.split(",")]
    except ValueError:
        found = []
    if len(found) != count:
        raise BadBoard(f'{option} "{printable(written, 40)}" is not {form}')
    return found


def _within(option: str, value: float, least: float, most: float, unit: str) -> None:
    if not least <= value <= most:
        raise BadBoard(f"{option} {value:g} is outside {least:g} to {most:g} {unit}; write one")


def _shield(written: str, length_mm: float, width_mm: float) -> Shield:
    form = "LENGTH,WIDTH,X,Y in mm, X and Y from the board's middle, such as 40,30,55,25"
    shield = Shield(*numbers("--shield", written, 4, form))
    for value in (shield.length_mm, shield.width_mm):
        _within("--shield", value, *PART_MM, "mm")
    inside = (
        abs(shield.x_mm) + shield.length_mm / 2 <= length_mm / 2
        and abs(shield.y_mm) + shield.width_mm / 2 <= width_mm / 2
    )
    if not inside:
        raise BadBoard(f"--shield {printable(written, 40)} reaches over the board's rim; move it")
    return shield
