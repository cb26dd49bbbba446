"""The nozzle in a hand: steady, or wandering between the chip and the sensor beside it."""

import pytest

from emberbed_sim.plant.nozzle import Nozzle
from emberbed_sim.plant.parameters import BenchParameters, BoardParameters, ChipParameters

TIMES_S = [tick / 10 for tick in range(3000)]


def test_a_steady_nozzle_blows_on_the_chip() -> None:
    jet = Nozzle(BenchParameters(), seed=1).jet(12.0, 350.0, False)
    assert jet.air_k == pytest.approx(350 + 273.15)
    # 130 W/m2K over 27 x 27 mm and 50 W/m2K over 900 mm2: the parameters
    assert jet.chip_w_k == pytest.approx(130 * 0.027**2)
    assert jet.centre_w_k == pytest.approx(50 * 900e-6)
    assert (jet.on_chip, jet.beside) == (1.0, 0.0)


def test_a_wandering_nozzle_leaves_the_chip_and_finds_the_sensor() -> None:
    nozzle = Nozzle(BenchParameters(), seed=1)
    jets = [nozzle.jet(second, 380.0, True) for second in TIMES_S]
    assert max(jet.on_chip for jet in jets) > 0.95
    assert min(jet.on_chip for jet in jets) < 0.2
    assert max(jet.beside for jet in jets) > 0.8
    assert min(jet.beside for jet in jets) < 0.01
    over_sensor = max(jets, key=lambda jet: jet.beside)
    assert over_sensor.on_chip < 0.3


def test_what_misses_the_chip_meets_the_board() -> None:
    nozzle = Nozzle(BenchParameters(), seed=1)
    steady = nozzle.jet(0.0, 380.0, False)
    for second in TIMES_S:
        jet = nozzle.jet(second, 380.0, True)
        assert jet.chip_w_k + jet.centre_w_k == pytest.approx(steady.chip_w_k + steady.centre_w_k)
        assert 0 <= jet.chip_w_k <= steady.chip_w_k


def test_a_hand_drifts_slowly() -> None:
    # a tool is moved by centimetres a second at most; common practice, no source
    nozzle = Nozzle(BenchParameters(), seed=3)
    shares = [nozzle.jet(second, 380.0, True).on_chip for second in TIMES_S]
    assert max(abs(b - a) for a, b in zip(shares, shares[1:], strict=False)) < 0.15


def test_the_seed_decides_the_way() -> None:
    bench = BenchParameters()
    ways = [
        [Nozzle(bench, seed).jet(second, 380.0, True) for second in TIMES_S[:600]]
        for seed in (1, 1, 2)
    ]
    assert ways[0] == ways[1]
    assert ways[0] != ways[2]


def test_a_small_board_meets_no_more_air_than_its_middle_has_room_for() -> None:
    bench = BenchParameters(board=BoardParameters(2, 20, 20), chip=ChipParameters(10, 10))
    jet = Nozzle(bench, seed=1).jet(0.0, 380.0, False)
    assert jet.centre_w_k == pytest.approx(50 * (0.5 * 20 * 20 - 10 * 10) * 1e-6)
