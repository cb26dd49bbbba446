"""A heater file is read as strictly as it is written, and every mistake is one sentence."""

from datetime import UTC, datetime

import numpy as np
import pytest

from emberbed.heater.carried import covariance, estimates
from emberbed.heater.default_gains import Gains
from emberbed.heater.heat_model import heater_of
from emberbed.heater.heater_file import HeaterMistakes, parse_heater, read_heater
from emberbed.heater.heater_writer import heater_text as written
from emberbed.heater.heater_writer import with_gains
from emberbed.heater.model_parameters import PARAMETERS
from tests.host.heater.heater_texts import HEAD, heater, heater_text
from tests.host.heater.made_heater import LABEL_PRINTER
from tests.host.heater.true_fit import true_fit

MADE = datetime(2025, 3, 1, 10, 0, tzinfo=UTC)


def mistakes(text):
    with pytest.raises(HeaterMistakes) as told:
        parse_heater(text, "heater.toml")
    return told.value.sentences


@pytest.mark.parametrize(("kind", "watts"), [("watts", 1000.0), ("volts", None)])
def test_what_is_written_is_read(kind, watts):
    fitted = true_fit(kind)
    found = parse_heater(written(fitted, watts, MADE), "heater.toml")
    assert found.made == MADE
    assert found.scale.full_power_w == watts and found.scale.full_drive == fitted.full_drive
    assert found.fit.start == fitted.whole.candidate.start
    for one in estimates(fitted.whole):
        if one.name in found.parameters:
            number = found.parameters[one.name]
            assert (number.value, number.low, number.high) == pytest.approx(
                (one.value, one.low, one.high), rel=1e-6
            )
            assert number.from_data == one.from_data
    names = [p.name for p in PARAMETERS if p.name != "drive_exponent" or kind == "volts"]
    assert found.uncertainty.names == names
    size = len(names)
    assert np.array(found.uncertainty.covariance) == pytest.approx(
        covariance(fitted.whole)[:size, :size], rel=1e-5
    )


def test_values_and_physics():
    one = heater()
    assert one.values == LABEL_PRINTER | {"drive_exponent": 1.0}
    assert one.physics() == heater_of(one.values, 1000.0)
    relative = parse_heater(heater_text(HEAD.replace("full_power_w = 1000.0\n", "")), "h.toml")
    assert relative.physics() == heater_of(relative.values, 1.0)


def test_drawn_heaters_have_the_stated_spread():
    draws = heater().drawn(4000, seed=5)
    lag = np.log([one["board_lag_s"] for one in draws])
    room = np.array([one["room_c"] for one in draws])
    assert lag.mean() == pytest.approx(np.log(300), abs=0.02)
    assert np.cov(lag, room) == pytest.approx(np.array([[0.04, 0.03], [0.03, 0.25]]), rel=0.1)
    assert {one["emitter_lag_s"] for one in draws} == {26.0}  # no uncertainty is stated for it
    assert heater().drawn(3, seed=5) == heater().drawn(3, seed=5) != heater().drawn(3, seed=6)


def test_gains_are_put_in_and_replaced():
    gains = Gains(0.05, 0.0004, 1.5, 1.0, 5, 200)
    text = with_gains("# mine\n" + heater_text(), gains, "SIMC PID")
    assert text.startswith("# mine\n")
    found = parse_heater(text, "heater.toml")
    assert found.gains.gains() == gains and found.gains.rule == "SIMC PID"
    again = with_gains(text, gains._replace(kp_per_k=0.06), "AMIGO PI")
    assert parse_heater(again, "heater.toml").gains.kp_per_k == 0.06
    assert len(again.splitlines()) == len(text.splitlines())
    moved = with_gains("[gains]\nrule = 'x'\n" + heater_text(HEAD), gains, "AMIGO PI")
    assert moved.startswith("format = 1\n") or "rule = 'x'" not in moved


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("format = 1", "format = 2", "heater.toml: format is 2 and this program reads 1; identif"),
        ("format = 1\n", "", "heater.toml: format is None and this program reads 1"),
        ("format = 1", "format 1", "heater.toml: this is no TOML ("),
        ("rows = 400", 'rows = "many"', 'heater.toml:7: source.rows = "many" is not a whole numbe'),
        ("rows = 400", "rows = 0", "heater.toml:7: source.rows = 0 is not a number at least 1"),
        ("rms_c = 0.1", "rms_c = nan", "heater.toml:18: fit.rms_c = nan is not "),
        ("full_drive = 1000.0", "full_drive = -1", "heater.toml:13: scale.full_drive = -1 is not"),
        ("0a0a", "zz", "heater.toml:6: source.sha256 = "),
        ("[fit]", "[fit]\ncolour = 3", "heater.toml:17: the key fit.colour is not known here; ta"),
        ("rms_c = 0.1\n", "", "heater.toml:16: the key fit.rms_c is missing; identify the heater"),
        ("board_lag_s = { value = 300.0", "board_lag_s = { value = 9000.0",
         "heater.toml: parameters: board_lag_s = 9000 is outside 10 to 5000 s"),
        ("sensor_lag_s = ", "sensor_leg_s = ", "heater.toml: parameters: sensor_lag_s is missing"),
        ("[[0.04, 0.03], [0.03, 0.25]]", "[[0.04], [0.03]]", "heater.toml:37: uncertainty: "),
        ('"room_c"]', '"rom_c"]', "heater.toml:37: uncertainty: "),
    ],
)  # fmt: skip
def test_mistakes(old, new, sentence):
    text = heater_text()
    assert old in text
    told = mistakes(text.replace(old, new))
    assert told[0].startswith(sentence), told
    assert not any("\n" in one for one in told)


def test_all_mistakes_at_once():
    text = heater_text().replace("rows = 400", 'rows = "x"').replace("rms_c = 0.1", "rms_c = -1")
    assert len(mistakes(text)) == 3  # rows, fitted_rows, rms_c


def test_no_such_file(tmp_path):
    with pytest.raises(HeaterMistakes, match="cannot be read .*; name a heater file"):
        read_heater(tmp_path / "nowhere.toml")
    (tmp_path / "long.toml").write_text("#" * 300_000)
    with pytest.raises(HeaterMistakes, match="too long"):
        read_heater(tmp_path / "long.toml")
    (tmp_path / "odd.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(HeaterMistakes, match="is not UTF-8 text"):
        read_heater(tmp_path / "odd.toml")
