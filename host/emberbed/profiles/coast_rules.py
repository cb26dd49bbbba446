"""How far the board goes on rising at the end of a ramp, once the heat is off: `check`'s rule.

The emitters' stored heat keeps arriving, and the device withholds heat before it carries a sensor
to its limit. A ramp that comes that near would be slowed on the bench; it is better said before.
"""

from math import log

from emberbed.heater.model_parameters import SIGMA_W_M2_K4, ZERO_C_K
from emberbed.profiles.bounds import limit_cdeg
from emberbed.profiles.check_case import Case, Found
from emberbed.profiles.energy import (
    heat_capacity_j_per_k,
    loss_w,
    power_needed_w,
    rate_within_power_c_per_s,
)
from emberbed.profiles.guard_model import CM2_PER_M2, GuardModel, guess
from emberbed.profiles.model import Board
from emberbed_fw.heat_balance import LAG_TICKS
from emberbed_fw.safety_limits import COMING_ROOM_CDEG
from emberbed_fw.units import TICKS_PER_S

JUDGED_ROLES = ("control", "edge", "pair")


def coast_c(model: GuardModel, board: Board, board_c: float, rate_c_per_s: float) -> float:
    """Return by how many K a board climbing at this rate goes on rising without heat.

    The heat onto it dies away with the emitter's time constant until it is down to the loss.
    """
    heat_w = power_needed_w(board, board_c, rate_c_per_s)
    lost_w = max(loss_w(board, board_c), 1.0)
    exchange_w_k4 = SIGMA_W_M2_K4 * model.exchange_cm2 / CM2_PER_M2
    emitter_k = (heat_w / exchange_w_k4 + (board_c + ZERO_C_K) ** 4) ** 0.25
    all_w_k4 = SIGMA_W_M2_K4 * (model.exchange_cm2 + model.around_cm2) / CM2_PER_M2
    lag_s = model.emitter_j_per_k / (4 * all_w_k4 * emitter_k**3 + model.convection_w_per_k)
    surplus_w = max(heat_w - lost_w - lost_w * log(max(heat_w / lost_w, 1.0)), 0.0)
    late_c = rate_c_per_s * LAG_TICKS / TICKS_PER_S  # what the bead has not seen yet
    return lag_s * surplus_w / heat_capacity_j_per_k(board) + late_c


def _coast(case: Case) -> Found:
    board = case.profile.board
    if board is None or not case.heater_watts:
        return
    model = case.guard_model or guess(case.heater_watts, board)
    limits_c = [
        limit_cdeg(case.profile, sensor) / 100
        for _name, _place, sensor in case.sensors()
        if sensor.role in JUDGED_ROLES and not sensor.in_jet
    ]
    for location, span, ramp in case.ramps():
        if span.to_cdeg <= span.from_cdeg or not limits_c:
            continue
        reached = rate_within_power_c_per_s(board, ramp.to_c, case.heater_watts * case.power_cap)
        rate = min(ramp.rate_c_per_s, max(reached, 0.0))
        coasts_c = coast_c(model, board, ramp.to_c, rate)
        room_c = min(limits_c) - ramp.to_c - coasts_c
        if room_c < COMING_ROOM_CDEG / 100:
            yield (
                "error" if model.trusted else "warning",
                (*location, "rate_c_per_s"),
                f"with the heat off at {ramp.to_c:g} °C the board still rises by about"
                f" {coasts_c:.0f} °C, to within {COMING_ROOM_CDEG / 100:g} °C of a sensor's limit"
                f" of {min(limits_c):g} °C (heat stored in the emitters), where the device"
                " withholds heat; ramp more slowly, or raise the limit where the board bears it",
            )


COAST_RULES = (_coast,)
