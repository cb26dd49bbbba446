"""By how much a reading may be off: by hand, by trial, with figures of standard and datasheet."""

import numpy as np
import pytest

from emberbed.calibration.budget import (
    COLD_END_LEFT,
    CONVERTERS,
    WIRES,
    budget_of,
    made_of_words,
    wire_k,
)
from emberbed.calibration.known import At, Known
from emberbed.calibration.on_device import is_calibrated
from emberbed.device_description import Channel
from emberbed_fw.settings import CONVERTER_ABSENT, CONVERTER_NAMES, CONVERTER_THERMISTOR
from emberbed_fw.units import CALIBRATION_ONE_Q12

WATER = Known("edge", "2026-11-28", (At(0.0, 0.0924), At(99.325, 0.1139)), 0.05)


@pytest.mark.parametrize(
    ("wire_class", "celsius", "error_k"),
    # IEC 60584-1, type K: class 1 the greater of 1.5 degC and 0.004 |t| (they meet at 375 degC),
    # class 2 of 2.5 degC and 0.0075 |t| (at 333 degC)
    [(2, -40, 2.5), (2, 250, 2.5), (2, 333, 2.5), (2, 400, 3.0), (2, 1000, 7.5),
     (1, 250, 1.5), (1, 375, 1.5), (1, 1000, 4.0)],
)  # fmt: skip
def test_the_standard_s_tolerance_of_the_wire(wire_class, celsius, error_k):
    assert wire_k(celsius, WIRES[wire_class]) == pytest.approx(error_k, abs=0.01)


def test_a_worked_example_without_calibration():
    """MAX31855K and class 2 wire at 250 degC, half-widths 2.5, 2, 2, 0.125 and 1.5 % of 227.

    By hand: sqrt((6.25 + 4 + 4 + 0.0156 + 11.594) / 3) = sqrt(8.6199) = 2.936; times 2 = 5.87.
    """
    made = budget_of(250, "MAX31855K")
    assert made.standard_k == pytest.approx(2.936, abs=0.001)
    assert made.expanded_k == pytest.approx(5.872, abs=0.001)
    # without the contact about the 4 degC that wire, chip and cold end are planned with
    assert budget_of(250, "MAX31855K", contact_share=0).expanded_k == pytest.approx(4.36, abs=0.01)


def test_a_worked_example_with_calibration():
    """The same, calibrated in ice and at 99.325 degC: by hand, half-widths over the root of 3.

    Wire 0.0075 x 150.675 = 1.130 -> 0.6524; converter whole, 2 -> 1.1547; cold end a third of 2
    -> 0.3849; line at 250: sqrt((1.517 x 0.0924)^2 + (2.517 x 0.1139)^2) = 0.3192; residual 0.05
    -> 0.0289; step 0.0722; no contact. Squares: 0.4256 + 1.3333 + 0.1481 + 0.1019 + 0.0008 +
    0.0052 = 2.0150; root 1.4195; times 2 = 2.839.
    """
    made = budget_of(250, "MAX31855K", WATER, contact_share=0)
    assert [round(term.standard_k, 3) for term in made.terms[:5]] == [
        0.652, 1.155, 0.385, 0.319, 0.029,
    ]  # fmt: skip
    assert made.expanded_k == pytest.approx(2.839, abs=0.002)


def test_the_expanded_uncertainty_holds_95_of_100_trials():
    """JCGM 101: draw every error from its own distribution; k = 2 must hold about 95 %."""
    made = budget_of(200, "MAX31855K", WATER)
    draw = np.random.default_rng(5)
    count = 100_000
    beyond_k, span_k = 200 - 99.325, 99.325
    halves = (0.0075 * beyond_k, 2.0 * min(1, beyond_k / span_k), 2.0 * COLD_END_LEFT, 0.05, 0.125,
              0.015 * (200 - 23))  # fmt: skip
    errors = sum(draw.uniform(-half, half, count) for half in halves)
    ice, boiling = draw.normal(0, 0.0924, count), draw.normal(0, 0.1139, count)
    errors = errors + ice + (boiling - ice) * 200 / span_k
    assert errors.std() == pytest.approx(made.standard_k, rel=0.01)
    assert 0.945 < (np.abs(errors) < made.expanded_k).mean() < 0.985


def test_a_calibration_helps_most_between_its_points():
    bare, near, far = (
        budget_of(at_c, "MAX31855K", known, contact_share=0).expanded_k
        for at_c, known in ((50, None), (50, WATER), (250, WATER))
    )
    assert near < 1 < far < bare


def test_another_point_higher_up_helps_above():
    with_solder = Known("edge", WATER.day, (*WATER.points, At(183.0, 0.58)), 0.05)
    assert (
        budget_of(230, "MAX31855K", with_solder).expanded_k
        < budget_of(230, "MAX31855K", WATER).expanded_k
        < budget_of(230, "MAX31855K").expanded_k
    )


def test_every_converter_of_the_firmware_has_its_errors():
    assert set(CONVERTERS) == set(CONVERTER_NAMES) - {
        CONVERTER_NAMES[CONVERTER_ABSENT],
        CONVERTER_NAMES[CONVERTER_THERMISTOR],
    }  # a thermistor has no couple
    assert budget_of(100, "something else") is None
    assert "MAX31855K ±2 °C" in made_of_words({"MAX31855K"})
    assert "MAX" not in made_of_words(set())


def test_a_calibrated_input_is_known():
    assert not is_calibrated(Channel("edge", "MAX31855K", 26000, 0, CALIBRATION_ONE_Q12))
    assert is_calibrated(Channel("edge", "MAX31855K", 26000, -40, CALIBRATION_ONE_Q12))
    assert is_calibrated(Channel("edge", "MAX31855K", 26000, 0, CALIBRATION_ONE_Q12 + 9))
