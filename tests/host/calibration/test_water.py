"""Boiling points and pressures against the release, a reference library, and published tables."""

import fluids
import numpy as np
import pytest
from iapws.iapws97 import _TSat_P

from emberbed.bench.prepare import NotReady
from emberbed.calibration import fixed_points
from emberbed.calibration.water import LEAST_MPA, boils_c, isa_kpa
from emberbed_sim.plant import baths


@pytest.mark.parametrize(
    ("mpa", "kelvin"),
    # IAPWS R7-97(2012), table 36: check values of the backward saturation equation
    [(0.1, 372.755919), (1.0, 453.035632), (10.0, 584.149488)],
)
def test_check_values_of_the_release(mpa, kelvin):
    assert boils_c(mpa * 1000) + 273.15 == pytest.approx(kelvin, abs=5e-7)


def test_the_reference_library_says_the_same_at_every_station():
    for kpa in np.linspace(50, 110, 121):
        assert boils_c(kpa) + 273.15 == pytest.approx(_TSat_P(kpa / 1000), abs=1e-9)


def test_another_equation_says_nearly_the_same():
    """The simulated water boils by IAPWS SR1-86, which IF97 follows within a few mK."""
    for kpa in np.linspace(50, 110, 13):
        assert boils_c(kpa) == pytest.approx(baths.boils_c(kpa), abs=0.005)


@pytest.mark.parametrize("kpa", [0.0, -5.0, LEAST_MPA * 999, 30000.0, float("nan")])
def test_where_water_has_no_boiling_point(kpa):
    with pytest.raises(ValueError, match="no boiling point"):
        boils_c(kpa)


@pytest.mark.parametrize(
    ("altitude_m", "hpa"),
    # US Standard Atmosphere 1976 (below 32 km the same as ISO 2533), table I, geometric altitude
    [(0, 1013.25), (500, 954.61), (1000, 898.76), (2000, 795.01), (3000, 701.21), (5000, 540.48)],
)
def test_the_standard_atmosphere_s_table(altitude_m, hpa):
    assert isa_kpa(altitude_m) * 10 == pytest.approx(hpa, abs=0.02)


def test_the_standard_atmosphere_of_a_reference_library():
    for altitude_m in range(-400, 5501, 100):
        published = fluids.ATMOSPHERE_1976(altitude_m).P
        assert isa_kpa(altitude_m) * 1000 == pytest.approx(published, rel=1e-5)


def test_boiling_by_altitude_is_less_sure_than_by_pressure():
    by_gauge = fixed_points.boiling(954.61, None, None)
    by_report = fixed_points.boiling(None, 500, 1013.25)
    by_altitude = fixed_points.boiling(None, 500, None)
    # computed with `iapws` 1.5.5: 98.31 degC at 500 m
    for reference in (by_gauge, by_report, by_altitude):
        assert reference.true_c == pytest.approx(98.31, abs=0.01)
    assert by_gauge.standard_k < by_report.standard_k < by_altitude.standard_k
    # the table of the same library: 98.469 degC at 96 kPa, 98.178 at 95, so 25 hPa are 0.73 K
    assert by_altitude.standard_k == pytest.approx(np.hypot(2.5 * 0.291, 0.15) / 3**0.5, abs=0.002)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ((None, None, None), "add --pressure in hPa as it is here, or --altitude"),
        ((990, 500, None), "leave --altitude and --sea-level out"),
        ((99, None, None), "--pressure 99 cannot be: write 500 to 1090 hPa here"),
        ((float("nan"), None, None), "--pressure nan cannot be"),
        ((None, 9000, None), "--altitude 9000 cannot be: write -450 to 5500 m"),
        ((None, 500, 29.9), "--sea-level 29.9 cannot be"),
    ],
)
def test_air_that_cannot_be(given, words):
    with pytest.raises(NotReady, match=words):
        fixed_points.boiling(*given)


def test_only_solders_with_one_melting_point():
    # facts of the trade: Sn63Pb37 is eutectic at 183 degC
    assert fixed_points.melting("Sn63Pb37").true_c == 183
    with pytest.raises(NotReady, match="SAC305 melts over a range .217 to 220 °C."):
        fixed_points.melting("SAC305")
    with pytest.raises(NotReady, match='"Sn63" is not in the materials book'):
        fixed_points.melting("Sn63")
