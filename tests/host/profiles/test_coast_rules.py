"""A ramp that the emitters' stored heat carries on to a limit is told before it is run."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from emberbed.profiles.check import check_profile
from emberbed.profiles.coast_rules import LAG_TICKS, coast_c
from emberbed.profiles.energy import heat_capacity_j_per_k, loss_w, power_needed_w
from emberbed.profiles.guard_model import GuardModel, guess
from emberbed.profiles.model import Board
from emberbed_fw.units import TICKS_PER_S
from tests.host.profiles.profile_texts import GOOD, read

BOARD = Board(mass_g=240, length_mm=180, width_mm=120)
NAMES = ["top_near_chip", "edge"] + [""] * 6
SIGMA = 5.670374419e-8


def cut_off_rise_k(model: GuardModel, board_c: float, rate_c_per_s: float) -> float:
    """Solve emitter and board after the switch has opened, with scipy: the same physics, no
    formula for the decay."""
    board_j_k = heat_capacity_j_per_k(BOARD)
    exchange = SIGMA * model.exchange_cm2 * 1e-4
    around = SIGMA * model.around_cm2 * 1e-4
    room_k = 298.15

    def rates(_t, state):
        emitter, board = state
        onto = exchange * (emitter**4 - board**4)
        astray = around * (emitter**4 - room_k**4) + model.convection_w_per_k * (emitter - room_k)
        return [-(onto + astray) / model.emitter_j_per_k,
                (onto - loss_w(BOARD, board - 273.15)) / board_j_k]  # fmt: skip

    start_k = board_c + 273.15
    needed = power_needed_w(BOARD, board_c, rate_c_per_s)
    emitter_k = (needed / exchange + start_k**4) ** 0.25
    solved = solve_ivp(rates, (0, 600), [emitter_k, start_k], max_step=1.0)
    return float(np.max(solved.y[1]) - start_k)


@pytest.mark.parametrize("emitter_j_per_k", [20, 120, 400])
@pytest.mark.parametrize("rate", [0.5, 1.0, 1.5])
def test_the_coast_is_near_a_solved_one(emitter_j_per_k, rate):
    guessed = guess(1000, BOARD)
    model = GuardModel(
        emitter_j_per_k, guessed.exchange_cm2, guessed.around_cm2, guessed.convection_w_per_k
    )
    told = coast_c(model, BOARD, 120, rate) - rate * LAG_TICKS / TICKS_PER_S
    solved = cut_off_rise_k(model, 120, rate)
    # a straight loss and an exponential for what bends: never far too low, at most half too high
    assert 0.8 * solved - 1.0 < told < 1.5 * solved + 1.0


def coasts(text, **more):
    findings = check_profile(read(text), NAMES, [26000] * 8, 1000, **more)
    return [found for found in findings if "stored in the emitters" in found.sentence]


def fast(rate):
    return GOOD.replace("rate_c_per_s = 0.6", f"rate_c_per_s = {rate}").replace(
        "rate_c_per_s = 0.4", f"rate_c_per_s = {rate}"
    )


def test_usual_rates_are_quiet():
    assert not coasts(fast(0.5), power_cap=1.0)


def test_a_slow_heater_under_a_fast_ramp_is_told():
    slow = GuardModel(600, 127, 128, 0.4)
    (found, *_others) = coasts(fast(1.5), power_cap=1.0, guard_model=slow)
    assert found.severity == "warning"
    assert "ramp more slowly" in found.sentence


def test_an_identified_one_is_refused():
    slow = GuardModel(600, 127, 128, 0.4, trusted=True)
    (found, *_others) = coasts(fast(1.5), power_cap=1.0, guard_model=slow)
    assert found.severity == "error"
