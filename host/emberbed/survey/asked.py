"""A survey as a person asks for it: numbers written in options, checked against the positions.

Zones and the board are written as numbers with commas, in mm and in the positions' own frame.
Raises `TableMistake`, one sentence that names the option and the mend.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite

from emberbed.heater.csv_reader import TableMistake
from emberbed.plain_text import printable
from emberbed.survey.plate import Zone
from emberbed.survey.positions import FARTHEST_MM, SHAPE, Survey
from emberbed.survey.surface import ChipPlace, Surface, carries_surface, surface_of
from emberbed.survey.trims import Trims, board_extent, find_trims
from emberbed_fw.units import ZONES

LEAST_ZONES = 2


@dataclass(frozen=True)
class Asked:
    """What a person wants to know of a survey; all in mm."""

    chip_mm: float
    zones: Sequence[Zone]
    gap_mm: float
    board_mm: tuple[float, float] | None


@dataclass(frozen=True)
class Found:
    """What a survey tells."""

    survey: Survey
    surface: Surface
    chip: ChipPlace
    trims: Trims | None


def check_asked(survey: Survey, asked: Asked) -> None:
    """Refuse what such positions cannot answer, whatever was measured there."""
    if not carries_surface(survey):
        raise TableMistake(f"The positions lie on one curve and span no surface; {SHAPE}")
    _check_chip(survey, asked.chip_mm)
    if not 0 < asked.gap_mm <= FARTHEST_MM:
        raise TableMistake(f"--gap {asked.gap_mm:g} is out of range: give 1 to {FARTHEST_MM:g} mm")
    _check_board(survey, asked.board_mm)
    _check_zones(survey, asked.zones, asked.board_mm)


def find(survey: Survey, asked: Asked) -> Found:
    """Work everything out."""
    check_asked(survey, asked)
    surface = surface_of(survey)
    trims = None
    if asked.zones:
        trims = find_trims(survey, asked.zones, asked.gap_mm, asked.board_mm)
    return Found(survey, surface, surface.chip_place(asked.chip_mm), trims)


def parse_zone(text: str) -> Zone:
    """Return the zone of an option: X,Y,LENGTH,WIDTH."""
    x_mm, y_mm, length_mm, width_mm = _numbers("--zone", text, 4, "X,Y,LENGTH,WIDTH in mm")
    if min(length_mm, width_mm) <= 0:
        raise TableMistake(f"--zone {printable(text)}: length and width must be above 0 mm")
    return Zone(x_mm, y_mm, length_mm, width_mm)


def parse_board(text: str) -> tuple[float, float]:
    """Return length and width of an option: LENGTH,WIDTH."""
    length_mm, width_mm = _numbers("--board", text, 2, "LENGTH,WIDTH in mm")
    return length_mm, width_mm


def _numbers(option: str, text: str, count: int, form: str) -> list[float]:
    mistake = TableMistake(f"{option} {printable(text)} cannot be read: write {form}")
    try:
        numbers = [float(one) for one in text.split(",")]
    except ValueError:
        raise mistake from None
    if len(numbers) != count or not all(map(isfinite, numbers)):
        raise mistake
    if max(map(abs, numbers)) > FARTHEST_MM:
        raise TableMistake(f"{option} {printable(text)} is off every bench: write millimetres")
    return numbers


def _check_chip(survey: Survey, chip_mm: float) -> None:
    x_low, x_high, y_low, y_high = survey.extent_mm
    most_mm = min(x_high - x_low, y_high - y_low)
    if not 0 < chip_mm <= most_mm:
        raise TableMistake(
            f"--chip {chip_mm:g} does not fit between the positions: give up to {most_mm:g} mm"
        )


def _check_board(survey: Survey, board_mm: tuple[float, float] | None) -> None:
    x_low, x_high, y_low, y_high = survey.extent_mm
    if board_mm is not None and (board_mm[0] < x_high - x_low or board_mm[1] < y_high - y_low):
        raise TableMistake(
            f"--board {board_mm[0]:g},{board_mm[1]:g} is smaller than the positions reach"
            f" ({x_high - x_low:g} by {y_high - y_low:g} mm): write the board's length and width"
        )


def _check_zones(
    survey: Survey, zones: Sequence[Zone], board_mm: tuple[float, float] | None
) -> None:
    if zones and not LEAST_ZONES <= len(zones) <= ZONES:
        raise TableMistake(
            f"--zone is given {len(zones)} times: give all {LEAST_ZONES} to {ZONES} zones of the"
            " heater, or none"
        )
    x_low, x_high, y_low, y_high = board_extent(survey, board_mm)
    for number, zone in enumerate(zones):
        left, right, front, back = zone.extent_mm
        if right <= x_low or left >= x_high or back <= y_low or front >= y_high:
            raise TableMistake(
                f"--zone {zone.x_mm:g},{zone.y_mm:g},{zone.length_mm:g},{zone.width_mm:g}: zone"
                f" {number} lies beside the board: count its middle as the positions are counted"
            )
