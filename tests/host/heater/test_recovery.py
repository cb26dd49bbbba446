"""Data of a known heater give its numbers back within the intervals that are stated."""

import numpy as np
import pytest

from emberbed.heater.carried import estimates, untold
from emberbed.heater.identify import identify
from tests.host.heater.made_heater import made

SEEN_S = {"watts": 702.0, "volts": None}  # of the first, all cooling is only foretold


@pytest.fixture(scope="module", params=[("watts", 2), ("volts", 2)], ids=["watts", "volts"])
def found(request):
    kind, seed = request.param
    measured, truth, full = made(kind, seed)
    return kind, identify(measured, SEEN_S[kind], full), truth


def test_every_number_lies_in_its_interval(found):
    # 95 % each: of 23 numbers in the two cases one may miss
    _kind, fitted, truth = found
    told = {one.name: one for one in estimates(fitted.whole) if one.name in truth}
    assert set(told) == set(truth)
    missed = [
        name for name, value in truth.items() if not told[name].low <= value <= told[name].high
    ]
    assert len(missed) <= 1, missed


# how tight the intervals must be to say anything: high over low; from the noise of 0.1 degC
TIGHT = {
    "emitter_full_power_k": 1.2, "emitter_lag_s": 1.1, "emitter_air_share": 1.3,
    "board_lag_s": 1.5, "surroundings_lag_s": 2.0, "sensor_lag_s": 1.5, "drive_exponent": 1.06,
}  # fmt: skip


def test_intervals_are_narrow_where_the_data_are_rich(found):
    _kind, fitted, truth = found
    for one in estimates(fitted.whole):
        if one.name in TIGHT and one.name in truth:
            assert one.high / one.low < TIGHT[one.name], one
            assert one.from_data, one


def test_the_noise_is_what_was_put_in(found):
    kind, fitted, _truth = found
    assert fitted.whole.noise.rms_c == pytest.approx(0.1, rel=0.1)
    assert fitted.whole.noise.correlation < 0.2
    assert fitted.percent_fitted > 99.5
    assert (fitted.percent_unseen is None) == (SEEN_S[kind] is None)


def test_the_numbers_are_those_of_all_rows(found):
    """The score comes from the first rows alone; a cooling makes the surroundings known better."""
    kind, fitted, truth = found
    assert fitted.whole_rows == len(fitted.measured.seconds)
    if kind == "volts":
        assert fitted.whole is fitted.scored and fitted.fitted_rows == fitted.whole_rows
        return
    assert fitted.percent_unseen > 95 and fitted.fitted_rows == 234
    widths = [
        np.log(one.high / one.low)
        for fit in (fitted.scored, fitted.whole)
        for one in estimates(fit)
        if one.name == "surroundings_rise_k"
    ]
    assert widths[1] < widths[0]


def test_the_first_state_is_seen(found):
    kind, fitted, _truth = found
    assert fitted.whole.candidate.start == {"watts": "at rest", "volts": "in balance"}[kind]


def test_what_watts_tell(found):
    """Only without watts is there a factor that leaves no trace; it is that of all heat."""
    kind, fitted, truth = found
    known_w = 1000.0 if kind == "watts" else None
    lost = [one for one in untold(fitted.whole, known_w) if one.only_ratios]
    assert len(lost) == (0 if kind == "watts" else 1)
    for one in lost:
        assert len(one.shares) == 10
        assert np.allclose(list(one.shares.values()), list(one.shares.values())[0], atol=1e-3)
        assert {"full_power_w", "board_j_k", "room_loss_w_k"} < set(one.shares)
    # the same data with watts given are whole again
    assert not any(one.only_ratios for one in untold(fitted.whole, 1000.0))
    assert "drive_exponent" not in truth or "drive_exponent" in fitted.whole.candidate.names
