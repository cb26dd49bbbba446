"""The sensors of a virtual device as they are written, and what is refused."""

import pytest

from emberbed.profiles.model import SENSOR_NAME
from emberbed_fw.settings import NAME_BYTES, Settings, settings_fit
from emberbed_fw.units import CHANNELS
from emberbed_sim.bench_device import NAME, bench_settings, parse_sensors, parse_strengths
from emberbed_sim.plant.parameters import DEFAULT_SENSORS, PLACES, bench_for_board, sensor_at


def test_sensors_are_channels_in_their_order():
    texts = [f"s{n}:{where}" for n, where in enumerate([*PLACES, *PLACES])]
    sensors = parse_sensors(texts)
    assert sensors == tuple(sensor_at(*text.split(":")) for text in texts)
    block = bench_settings(bench_for_board(240, 180, 120, sensors))
    assert settings_fit(block)
    assert all(Settings(block).channel_fitted(channel) for channel in range(CHANNELS))


def test_no_sensors_are_the_usual_two():
    assert parse_sensors([]) == DEFAULT_SENSORS


@pytest.mark.parametrize(
    ("texts", "says"),
    [
        (["chip"], "'chip' cannot be read"),
        (["chip:"], "'chip:' cannot be read"),
        (["chip:roof"], "one of board_centre, board_edge, emitter, chip_top"),
        ([":chip_top"], "a letter first"),
        (["9th:chip_top"], "a letter first"),
        (["a" * (NAME_BYTES + 1) + ":chip_top"], f"at most {NAME_BYTES} in all"),
        (["chip:chip_top:1"], "cannot be read"),
        (["chip\\n:chip_top"], "cannot be read"),
        (["one:emitter", "one:chip_top"], "'one' is given twice"),
    ],
)
def test_what_cannot_be_a_sensor_is_refused_in_one_sentence(texts, says):
    with pytest.raises(ValueError, match=says) as refused:
        parse_sensors(texts)
    assert "\n" not in str(refused.value) and str(refused.value).endswith(".")


def test_nine_sensors_are_too_many():
    sensors = parse_sensors([f"s{n}:board_edge" for n in range(9)])
    with pytest.raises(ValueError, match="has 9 sensors; give it 1 to 8"):
        bench_for_board(240, 180, 120, sensors)


def test_names_are_those_that_profiles_can_say():
    assert f"^{NAME.pattern}$" == SENSOR_NAME


def test_strengths_of_emitters_as_a_person_writes_them():
    assert parse_strengths("1,0.7,1") == (1.0, 0.7, 1.0)
    assert parse_strengths("0") == (0.0,)
    for text in ("", "1,", "weak", "1.2", "-0.1", "nan", "1,1,1,1,1,1,1"):
        with pytest.raises(ValueError, match="write what each of 1 to 6 gives"):
            parse_strengths(text)
