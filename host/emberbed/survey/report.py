"""A survey as lines for a person, as JSON for scripts, and as a picture."""

import numpy as np

from emberbed.report import display
from emberbed.report.board_map import BoardPicture, Outline, Spot, board_svg
from emberbed.survey.asked import Found
from emberbed.survey.surface import EVEN_C, ChipPlace, Place
from emberbed.survey.trims import MOST_TRIM, Trims, ZoneFound

FIELD = (60, 40)  # cells of the picture
POOR_FIT_C = 3.0  # a plate this far from the positions is not the board; our choice
TURN = (
    "Turn the board by half a turn and survey again: what turns with it is the board's own copper,"
    " what stays is the heater's."
)


def as_lines(found: Found) -> list[str]:
    """Return what a person should know, first things first."""
    survey, surface = found.survey, found.surface
    lines = [
        f"{len(survey.board_c)} positions at a steady {display.celsius(survey.control_c)}:"
        f" {display.celsius(survey.board_c.min())} to {display.celsius(survey.board_c.max())}"
    ]
    rough = surface.rough()
    if rough is not None:
        lines.append(
            f"x {rough.x_mm:g}, y {rough.y_mm:g} is {rough.celsius:+.1f} °C off what the others"
            " say: press the couple down there and measure it again."
        )
    weakest = surface.weakest()
    lines.append(_weakest_words(found, weakest))
    lines.append(_chip_words(found.chip))
    if found.trims is not None:
        lines += _trim_lines(found.trims)
    if weakest is not None:
        lines.append(TURN)
    return lines


def as_json(found: Found) -> dict[str, object]:
    """Return everything for scripts."""
    survey, surface = found.survey, found.surface
    uneven_c = surface.uneven_at(survey.x_mm, survey.y_mm)
    rows = zip(survey.x_mm, survey.y_mm, survey.board_c, uneven_c, surface.left_over_c(),
               strict=True)  # fmt: skip
    names = ("x_mm", "y_mm", "temperature_c", "uneven_c", "left_over_c")
    return {
        "control_c": round(survey.control_c, 2),
        "positions": [
            {name: round(float(number), 2) for name, number in zip(names, row, strict=True)}
            for row in rows
        ],
        "spread_c": round(float(np.ptp(survey.board_c)), 2),
        "weakest": _place(surface.weakest()),
        "measure_again": _place(surface.rough()),
        "chip_here": {
            name: round(number, 2) for name, number in found.chip._asdict().items()
        },
        "zones": None if found.trims is None else [_zone(one) for one in found.trims.zones],
        "trimmed_spread_c": None if found.trims is None else round(found.trims.trimmed_spread_c, 2),
        "plate_rms_c": None if found.trims is None else round(found.trims.rms_c, 2),
    }  # fmt: skip


def picture(found: Found) -> str:
    """Return the map of what is uneven as SVG, with the positions and the place for a chip."""
    survey, chip = found.survey, found.chip
    x_low, x_high, y_low, y_high = survey.extent_mm
    x_lines, y_lines = np.linspace(x_low, x_high, FIELD[0] + 1), np.linspace(
        y_low, y_high, FIELD[1] + 1
    )  # fmt: skip
    x, y = np.meshgrid((x_lines[1:] + x_lines[:-1]) / 2, (y_lines[1:] + y_lines[:-1]) / 2)
    half = chip.side_mm / 2
    here = (chip.x_mm - half, chip.x_mm + half, chip.y_mm - half, chip.y_mm + half)
    zones = [] if found.trims is None else found.trims.zones
    outlines = [Outline(f"zone {n}", one.zone.extent_mm) for n, one in enumerate(zones)]
    spots = [
        Spot(display.celsius(celsius), float(at_x), float(at_y))
        for at_x, at_y, celsius in zip(survey.x_mm, survey.y_mm, survey.board_c, strict=True)
    ]
    return board_svg(
        BoardPicture(
            x_lines,
            y_lines,
            found.surface.uneven_at(x, y),
            [*outlines, Outline("put the chip here", here, strong=True)],
            spots,
            None,
            None,
            "What is uneven: °C over the mean of the mirrored spots, and the measured temperatures",
        )
    )


def _weakest_words(found: Found, weakest: Place | None) -> str:
    if weakest is None:
        return f"Even: no corner or side is more than {EVEN_C:g} °C below its mirrored spots."
    return (
        f"Uneven: {_where(found, weakest)} (x {weakest.x_mm:g}, y {weakest.y_mm:g}) is"
        f" {-weakest.celsius:.1f} °C below its mirrored spots; look at the emitter there: weak,"
        " dirty, or further from the board."
    )


def _where(found: Found, place: Place) -> str:
    """Return a corner or side in words."""
    x_mid, y_mid = found.survey.middle_mm
    sides = [
        f"{'low' if at < middle else 'high'} {name}"
        for name, at, middle in (("x", place.x_mm, x_mid), ("y", place.y_mm, y_mid))
        if at != middle
    ]
    return f"the {'corner' if len(sides) == 2 else 'side'} at {' and '.join(sides)}"


def _chip_words(chip: ChipPlace) -> str:
    return (
        f"Put the chip at x {chip.x_mm:.0f}, y {chip.y_mm:.0f}: the {chip.side_mm:g} mm square"
        f" around it differs by {chip.spread_c:.1f} °C."
    )


def _trim_lines(trims: Trims) -> list[str]:
    lines = []
    for number, one in enumerate(trims.zones):
        low, high = one.trim_range
        lines.append(
            f"Zone {number}: gives {one.output:.2f} of the mean; power x {one.trim:.2f}"
            f" ({low:.2f} to {high:.2f}, by how well the board conducts)"
        )
    lines.append(
        f"With these trims the positions differ by about {trims.trimmed_spread_c:.1f} °C instead of"
        f" {trims.spread_c:.1f} °C; survey again after trimming."
    )
    if any(one.trim >= MOST_TRIM for one in trims.zones):
        lines.append(f"A zone that needs {MOST_TRIM:g} times its power is broken: mend it first.")
    if trims.rms_c > POOR_FIT_C:
        lines.append(
            f"The zones as given leave {trims.rms_c:.1f} °C over: check --zone, --gap and --board"
            " before trusting the trims."
        )
    return lines


def _place(place: Place | None) -> dict[str, float] | None:
    if place is None:
        return None
    return {name: round(number, 2) for name, number in place._asdict().items()}


def _zone(one: ZoneFound) -> dict[str, object]:
    return {
        "output": round(one.output, 3),
        "output_range": [round(number, 3) for number in one.output_range],
        "trim": round(one.trim, 3),
        "trim_range": [round(number, 3) for number in one.trim_range],
    }
