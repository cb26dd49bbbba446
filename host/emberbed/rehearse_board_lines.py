"""What `emberbed board` tells: lines for a person, data for scripts, a map, keys for a profile.

Takes an Outlook of `rehearse_board` and the Supply; an analysis command as that is.
"""

from typing import Any

import numpy as np

from emberbed.builder.circuits import Supply
from emberbed.profiles.energy import loss_w
from emberbed.profiles.limits import BOARD_LOSS
from emberbed.profiles.model import Board
from emberbed.rehearse_board import Built, Outlook
from emberbed.report.board_map import BoardPicture, Outline, Spot

ROOM_FOR_CONTROL = 1.25  # times what holding takes, so that the control can steer; our choice
WORTH = (
    "From the simulated heater, whose parameters are estimates: yours may be a third better or"
    " worse. A step test (emberbed identify) tells about your heater, a survey about its evenness."
)


def feasible(outlook: Outlook) -> bool:
    """Tell whether there is power to hold the temperature and to steer."""
    return outlook.reached and outlook.hold_w * ROOM_FOR_CONTROL <= outlook.given_w


def as_lines(outlook: Outlook, supply: Supply) -> list[str]:
    """Return it for a person."""
    built = outlook.built
    return [
        *_board_lines(built, outlook.target_c),
        supply.sentence(),
        *_run_lines(outlook),
        "Thermocouples, x along the board and y across, in mm from its middle:",
        *(
            f"    {role}: {spot.x_mm:.0f}, {spot.y_mm:.0f}: {why}"
            for role, spot, why in seats(outlook)
        ),
        "For the profile:",
        *profile_lines(built),
        WORTH,
    ]


def _board_lines(built: Built, target_c: float) -> list[str]:
    asked = built.asked
    how = "weighed" if built.weighed else f"estimated, {asked.crowded} with parts; weigh it"
    board = _board(built)
    lost_w = loss_w(board, target_c)
    return [
        f"{asked.length_mm:g} x {asked.width_mm:g} x {asked.thickness_mm:g} mm,"
        f" {asked.layers} layers with {asked.copper_percent:g} % copper: {built.mass_g:.0f} g"
        f" ({how}), {built.heat_j_k:.0f} J/K, a {built.mass_class.name} board;"
        f" ramp at {built.mass_class.ramp_c_per_s:g} °C/s or slower.",
        f"Alone in the room at {target_c:g} °C it gives off about {lost_w:.0f} W"
        f" ({lost_w / asked.area_m2 / 1e3:.1f} kW/m²; {BOARD_LOSS.source}); over a heater as large"
        " as itself it is less, as its underside faces that. Warming it at that"
        f" rate takes {built.heat_j_k * built.mass_class.ramp_c_per_s:.0f} W more.",
    ]


def _run_lines(outlook: Outlook) -> list[str]:
    if not outlook.reached:
        return [
            f"Not feasible: {outlook.given_w:.0f} W bring the board to {outlook.control_c:.0f} °C"
            f" in {outlook.warm_up_s / 60:.0f} min and no further. Choose a lower temperature,"
            " a larger circuit, or a bank nearer to the board's size."
        ]
    verdict = "Feasible" if feasible(outlook) else "Hardly feasible"
    room = outlook.given_w / max(outlook.hold_w, 1.0)
    return [
        f"{verdict}: {outlook.target_c:g} °C beside the chip after"
        f" {outlook.warm_up_s / 60:.0f} min, then {outlook.hold_w:.0f} W hold it, of"
        f" {outlook.given_w:.0f} W that there are ({room:.1f} times as much).",
        f"Expected spread {outlook.spread_c:.0f} °C: from {outlook.coldest[2]:.0f} to"
        f" {outlook.hottest[2]:.0f} °C on the top, the chip {outlook.chip_c:.0f} °C"
        + "".join(f", shield {n} {c:.0f} °C" for n, c in enumerate(outlook.shields_c, 1))
        + ".",
    ]


def seats(outlook: Outlook) -> list[tuple[str, Spot, str]]:
    """Return where to put thermocouples: role, spot, and why there; the control first."""
    asked = outlook.built.asked
    x, y, _ = outlook.open_coldest
    hot_x, hot_y, _ = outlook.open_hottest
    return [
        ("control", Spot("control", *outlook.control_mm), "on the top beside the chip, out of the"
         " hot air's jet; from 5 to 10 mm off its rim"),
        ("edge", Spot("edge", x, y), "the coldest open spot of the top"),
        ("pair or edge", Spot("hottest", hot_x, hot_y), "the hottest open spot, if there is a"
         " third"),
        ("chip_top", Spot("chip_top", 0.0, 0.0), "on the package, in the jet"),
        *(
            ("neighbour", Spot(f"shield {n}", one.x_mm, one.y_mm), "on this shield, which lags")
            for n, one in enumerate(asked.shields, 1)
        ),
    ]  # fmt: skip


def profile_lines(built: Built) -> list[str]:
    """Return the keys of a profile that this board fills."""
    asked = built.asked
    return [
        f"    board = {{ mass_g = {built.mass_g:.0f}, length_mm = {asked.length_mm:g},"
        f" width_mm = {asked.width_mm:g} }}",
        f"    chip = {{ length_mm = {asked.chip_mm:g}, width_mm = {asked.chip_mm:g},"
        " thickness_mm = ... }",
    ]


def as_json(outlook: Outlook, supply: Supply) -> dict[str, Any]:
    """Return it for scripts; rows of `top_c` from the lowest y up."""
    built = outlook.built
    return {
        "mass_g": round(built.mass_g, 1),
        "weighed": built.weighed,
        "heat_j_per_k": round(built.heat_j_k, 1),
        "mass_class": built.mass_class.name,
        "ramp_c_per_s": built.mass_class.ramp_c_per_s,
        "loss_w": round(loss_w(_board(built), outlook.target_c), 1),
        "circuit_w": round(supply.given_w, 1),
        "given_w": round(outlook.given_w, 1),
        "feasible": feasible(outlook),
        "reached": outlook.reached,
        "warm_up_s": round(outlook.warm_up_s),
        "hold_w": round(outlook.hold_w, 1),
        "spread_c": round(outlook.spread_c, 2),
        "chip_c": round(outlook.chip_c, 2),
        "shields_c": [round(one, 2) for one in outlook.shields_c],
        "thermocouples": [
            {"role": role, "x_mm": round(spot.x_mm, 1), "y_mm": round(spot.y_mm, 1), "why": why}
            for role, spot, why in seats(outlook)
        ],
        "top_c": np.round(outlook.top_c, 2).tolist(),
    }


def picture_of(outlook: Outlook) -> BoardPicture:
    """Return the board's top at the end, with parts and thermocouples."""
    board = outlook.built.bench.board
    columns, rows = board.cells
    x_low, x_high, y_low, y_high = board.extent_mm
    at = f"{outlook.target_c:g} °C beside the chip" if outlook.reached else "full power"
    spots = [spot for role, spot, _why in seats(outlook) if role in ("control", "edge")]
    return BoardPicture(
        np.linspace(x_low, x_high, columns + 1),
        np.linspace(y_low, y_high, rows + 1),
        outlook.top_c,
        [Outline(part.name, part.extent_mm) for part in board.parts],
        spots,
        outlook.hottest,
        outlook.coldest,
        f"Top of the board at {at}, expected",
    )


def _board(built: Built) -> Board:
    asked = built.asked
    return Board(mass_g=built.mass_g, length_mm=asked.length_mm, width_mm=asked.width_mm)
