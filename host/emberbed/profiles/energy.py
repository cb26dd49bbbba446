"""Estimate the power a ramp needs, from a kitchen scale and a ruler.

What the board must take up = mass x specific heat x rate, and what it loses to the room, linear
from ROOM_C. A lower bound of the heater's power: not every watt reaches the board. Watts, degrees
C, degrees C per s.
"""

from emberbed.profiles.limits import BOARD_J_PER_KG_K, BOARD_LOSS, LOSS_AT_C, ROOM_C
from emberbed.profiles.model import Board


def heat_capacity_j_per_k(board: Board) -> float:
    """Return the board's heat capacity, all of its mass taken as laminate."""
    return board.mass_g / 1000 * BOARD_J_PER_KG_K.value


def loss_w(board: Board, board_c: float) -> float:
    """Return what the board gives to the room at `board_c`."""
    area_m2 = board.length_mm * board.width_mm / 1e6
    return area_m2 * BOARD_LOSS.value * max(board_c - ROOM_C, 0) / (LOSS_AT_C - ROOM_C)


def power_needed_w(board: Board, board_c: float, rate_c_per_s: float) -> float:
    """Return the power into the board to still climb at `rate_c_per_s` when it is at `board_c`."""
    return heat_capacity_j_per_k(board) * rate_c_per_s + loss_w(board, board_c)


def rate_within_power_c_per_s(board: Board, board_c: float, power_w: float) -> float:
    """Return the rate that `power_w` into the board allows at `board_c`; below 0: it cools."""
    return (power_w - loss_w(board, board_c)) / heat_capacity_j_per_k(board)
