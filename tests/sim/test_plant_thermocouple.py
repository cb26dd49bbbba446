"""The bead's lag against first-order theory."""

import pytest

from emberbed_sim.plant.parameters import TICK_S, SensorPlacement
from emberbed_sim.plant.thermocouple import Thermocouple


def test_step_response_of_a_first_order_lag() -> None:
    # 1 - exp(-n) after n time constants
    fractions = [0.63212, 0.86466, 0.95021, 0.98168, 0.99326]
    couple = Thermocouple(SensorPlacement("bead", lag_s=2.0), 0.0)
    couple._bead._target_c = 100.0  # the place has jumped already
    for fraction in fractions:
        for _ in range(20):
            couple.step(100.0, 0.0, 0.0)
        assert couple.bead_c == pytest.approx(100 * fraction, abs=0.001)


def test_on_a_ramp_the_bead_is_late_by_its_lag() -> None:
    # steady error = slope x lag: 2 degC/s x 3 s = 6 degC
    couple = Thermocouple(SensorPlacement("bead", lag_s=3.0), 0.0)
    place_c = 0.0
    for _ in range(600):
        place_c += 2.0 * TICK_S
        couple.step(place_c, 0.0, 0.0)
    assert place_c - couple.bead_c == pytest.approx(6.0, abs=1e-6)


def test_two_equal_lags_in_a_row() -> None:
    # 1 - (1 + n) exp(-n) after n of either: theory
    couple = Thermocouple(SensorPlacement("bead", lag_s=2.0, through_s=2.0), 0.0)
    assert couple._through is not None
    couple._through._target_c = 100.0  # the board's underside has jumped already
    for fraction in (0.26424, 0.59399, 0.80085, 0.90842):
        for _ in range(20):
            couple.step(100.0, 0.0, 0.0)
        assert couple.bead_c == pytest.approx(100 * fraction, abs=0.01)
    couple.settle(50.0)
    couple.step(50.0, 0.0, 0.0)
    assert couple.bead_c == pytest.approx(50.0)


def test_a_negative_thickness_is_refused() -> None:
    with pytest.raises(ValueError, match="through_s of -1; give 0 or more"):
        SensorPlacement("bead", through_s=-1.0)


def settled_c(placement: SensorPlacement) -> float:
    couple = Thermocouple(placement, 20.0)
    for _ in range(400):
        couple.step(120.0, 40.0, 20.0)
    return couple.bead_c


def test_poor_contact_reads_the_air() -> None:
    # series of two conductances, contact the share of the first: theory
    assert settled_c(SensorPlacement("touching")) == pytest.approx(120.0, abs=1e-3)
    assert settled_c(SensorPlacement("half", contact=0.5)) == pytest.approx(80.0, abs=1e-3)
    assert settled_c(SensorPlacement("hanging", contact=0.0)) == pytest.approx(40.0, abs=1e-3)


def test_stray_radiation_reads_high() -> None:
    # 0.1 K per kW/m2 x 20 kW/m2 = 2 K
    assert settled_c(SensorPlacement("seen", stray_ir=0.1)) == pytest.approx(122.0, abs=1e-3)
