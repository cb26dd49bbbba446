"""What the device's guard knows of heater and board: the plan header's numbers for its own model.

`guess` makes them from a kitchen scale, a ruler and the heater's watts: good enough to ask and to
slow down, not to trip (`trusted` False). `of_heater` takes them from an identified heater.
Units: J/K, cm2, mW/K, J.
"""

from dataclasses import dataclass

from emberbed.heater.model_parameters import SIGMA_W_M2_K4
from emberbed.profiles.energy import heat_capacity_j_per_k, loss_w
from emberbed.profiles.limits import LOSS_AT_C, ROOM_C
from emberbed.profiles.model import Board

CM2_PER_M2 = 1e4
# A heater nobody identified is taken for quartz tubes; all four from memory.
EMITTER_J_PER_K_PER_W = 0.12
FACE_W_PER_M2 = 30000.0
EMISSIVITIES = 0.85 * 0.9  # of emitters and board
SEEN_BY_BOARD = 0.75  # of what the board could catch, at 40 mm over a bank larger than itself
CONVECTION_W_PER_K_PER_W = 0.0004
# A board's heat capacity lies within these parts of what an identified heater's board had, or of
# its weight's: bare laminate has 1100 J/kgK, metal-heavy assemblies 700 (from memory). Any board:
# 15 g to 1.5 kg, in J/K.
MEASURED = (0.7, 1.4)
DECLARED = (0.6, 1.1)
ANY_BOARD_J_PER_K = (15, 1500)
ANY_LOSS_W_PER_K = 0.7  # of a board of 0.02 m2
# A healthy sensor must have risen by 5 degC before so much net heat has gone into the heaviest
# board of its class as warms it by this: the rest is for bead and board to be late in.
BUDGET_K = 8.0
ANY_BUDGET_J = 3000.0  # a board beyond 500 g is asked about in vain, unless it is declared


@dataclass(frozen=True)
class GuardModel:
    """Emitters as the guard models them; the board comes from the profile."""

    emitter_j_per_k: float
    exchange_cm2: float
    around_cm2: float
    convection_w_per_k: float
    trusted: bool = False
    board_j_per_k: float | None = None  # where a board like the declared one was measured

    def fields(self, board: Board | None) -> dict[str, int]:
        """Return the header's fields for this board, None for any board."""
        least, most = ANY_BOARD_J_PER_K
        loss_w_per_k, budget_j = ANY_LOSS_W_PER_K, ANY_BUDGET_J
        if board is not None:
            capacity = heat_capacity_j_per_k(board)
            shares = DECLARED
            if self.board_j_per_k is not None:
                capacity, shares = self.board_j_per_k, MEASURED
            least, most = (capacity * share for share in shares)
            loss_w_per_k = loss_w(board, LOSS_AT_C) / (LOSS_AT_C - ROOM_C)
            budget_j = most * BUDGET_K
        return {
            "least_capacity_j_per_k": max(round(least), 1),
            "most_capacity_j_per_k": max(round(most), 1),
            "emitter_j_per_k": max(round(self.emitter_j_per_k), 1),
            "exchange_cm2": max(round(self.exchange_cm2), 1),
            "around_cm2": round(self.around_cm2),
            "convection_mw_per_k": round(self.convection_w_per_k * 1000),
            "board_loss_mw_per_k": round(loss_w_per_k * 1000),
            "model_trust": int(self.trusted and board is not None),
            "start_budget_j": round(budget_j),
        }


def of_conductances(
    emitter_j_per_k: float,
    board_w_k4: float,
    around_w_k4: float,
    air_w_per_k: float,
    trusted: bool,
    board_j_per_k: float | None,
) -> GuardModel:
    """Return the model of emitters whose radiation to board and surroundings is known in W/K4."""
    board_cm2, around_cm2 = (
        w_k4 / SIGMA_W_M2_K4 * CM2_PER_M2 for w_k4 in (board_w_k4, around_w_k4)
    )
    return GuardModel(emitter_j_per_k, board_cm2, around_cm2, air_w_per_k, trusted, board_j_per_k)


def guess(watts: float, board: Board | None) -> GuardModel:
    """Return the model of a heater of these watts that nobody identified."""
    bank_cm2 = watts / FACE_W_PER_M2 * CM2_PER_M2 * EMISSIVITIES
    board_cm2 = bank_cm2 / 2
    if board is not None:
        board_cm2 = board.length_mm * board.width_mm / 100 * SEEN_BY_BOARD * EMISSIVITIES
    exchange_cm2 = min(board_cm2, bank_cm2)
    return GuardModel(
        EMITTER_J_PER_K_PER_W * watts,
        exchange_cm2,
        bank_cm2 - exchange_cm2,
        CONVECTION_W_PER_K_PER_W * watts,
    )
