"""Boards learned on the simulated bench, whose numbers are known: the plant is not the fit's model.

The plant has five lumps, noise and a converter; the fit has three lumps and a sensor. What it must
give back is the plant's own heat capacity.
"""

import numpy as np
import pytest

from emberbed.heater.heater_file import parse_heater
from emberbed.heater.step_data import SWITCHED, Measured
from emberbed.learn.board_fit import NotLearned, learn
from emberbed.learn.mass_class import CLASSES, mass_class_of, masses_g
from emberbed.learn.seen import seen_of
from tests.host.learn.boards import CONTROL, before_flux, learned, ran
from tests.host.learn.true_heater import MASSES_G, bench_with, true_heater, true_text

CLASS_OF = {120: "light", 240: "medium", 400: "heavy"}


def true_capacity(mass_g):
    return bench_with(mass_g).board.heat_capacity_j_k


def measured(seconds, drive, celsius):
    rows = np.arange(len(seconds))
    return Measured("made", "", SWITCHED, "", "", seconds, drive, celsius, rows, 0.0 * rows)


def test_the_intervals_hold_the_true_capacity():
    """95 % intervals: of three, two at least."""
    held = [
        learned(mass_g).interval[0] <= true_capacity(mass_g) <= learned(mass_g).interval[1]
        for mass_g in MASSES_G
    ]
    assert sum(held) >= 2


@pytest.mark.parametrize("mass_g", MASSES_G)
def test_the_board_is_told(mass_g):
    board = learned(mass_g)
    assert board.capacity_j_per_k == pytest.approx(true_capacity(mass_g), rel=0.1)
    assert board.interval[1] / board.interval[0] < 1.5
    assert board.mass_class == CLASS_OF[mass_g] == mass_class_of(true_capacity(mass_g))
    assert board.fit_percent > 98
    low_g, high_g = masses_g(true_capacity(mass_g))
    assert low_g <= mass_g <= high_g


def test_other_fixed_numbers_do_not_move():
    """Emitter and surroundings are the heater file's."""
    board, heater = learned(400).heater, true_heater().physics()
    for name in ("emitter_j_k", "emitter_board_w_k4", "surroundings_j_k", "room_loss_w_k"):
        assert getattr(board, name) == getattr(heater, name)


def test_the_files_own_doubt_widens_the_interval():
    """A file that knows the emitter's share to 20 % cannot tell a board better than that."""
    text = true_text()
    (line,) = [one for one in text.splitlines() if one.startswith("emitter_share ")]
    share = true_heater().values["emitter_share"]
    doubtful = f"emitter_share = {{ value = {share}, low = {share / 1.2}, high = {share * 1.2},"
    doubtful += " from_data = true }"
    vague = parse_heater(text.replace(line, doubtful), "heater.toml")
    records, _plan = ran(240)
    low, high = learn(seen_of(before_flux(records), CONTROL), vague).interval
    assert high / low > 1.2**2 > learned(240).interval[1] / learned(240).interval[0]


def test_a_run_that_is_too_short_is_refused():
    records, _plan = ran(240)
    heated = next(at for at, record in enumerate(records) if record.driven_zones)
    with pytest.raises(NotLearned, match="too short"):
        learn(seen_of(records[: heated + 300], CONTROL), true_heater())


@pytest.mark.parametrize(
    ("drive", "celsius", "says"),
    [
        (0.0, 23.0, "nothing has excited"),
        (0.3, 23.0, "nothing has excited"),  # a bead beside the board
        (0.3, 60.0, "cold start"),
    ],
)
def test_data_without_excitation_are_refused(drive, celsius, says):
    seconds = np.arange(0, 200, 0.1)
    rows = measured(seconds, np.full(len(seconds), drive), np.full(len(seconds), celsius))
    with pytest.raises(NotLearned, match=says):
        learn(rows, true_heater())


def test_a_gap_in_the_ramp_is_refused():
    records = before_flux(ran(240)[0])
    torn = records[: len(records) // 2] + records[len(records) // 2 + 100 :]
    with pytest.raises(NotLearned, match="missing"):
        learn(seen_of(torn, CONTROL), true_heater())


def test_a_board_no_heater_could_warm_like_that_is_refused():
    """100 K in 60 s at a thousandth of 1 kW: hot air, or another heater."""
    seconds = np.arange(0, 120, 0.1)
    drive = (np.arange(len(seconds)) % 10 == 0).astype(float)
    rows = measured(seconds, drive, 23 + 100 * (1 - np.exp(-seconds / 3)))
    with pytest.raises(NotLearned, match="does not tell"):
        learn(rows, true_heater())


def test_classes_leave_no_gap():
    assert [one.below_j_per_k for one in CLASSES] == sorted(one.below_j_per_k for one in CLASSES)
    assert mass_class_of(1e6) == CLASSES[-1].name
