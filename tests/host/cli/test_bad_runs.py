"""A run asked for in a way that cannot be: exit 2, one sentence with the mend, nothing stored."""

import pytest

from tests.host.cli.test_bad_options import refused

HOLD = ("run", "--hold", "60", "--for", "1min")
PRESSED = ("--press", "--speed", "max")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ((), "Nothing is asked for: name a profile (emberbed profiles lists some), or hold"),
        (("label-printer", "--hold", "60", "--for", "1min"),
         "A profile and --hold are two different runs: leave one of them out"),
        (("label-printer", "--for", "1min"), "--for belongs to --hold: leave it out"),
        (("label-printer", "--alloy", "SAC305"), "--alloy belongs to --hold: leave it out"),
        (("label-printer", "--laminate", "x"), "--laminate belongs to --hold: leave it out"),
        (("--for", "1min"), "Nothing is asked for"),
        (("--hold", "60"), "--hold 60 lacks its time: add --for, such as --for 30min"),
        (("--hold", "60", "--for", "30"), '--for: the time "30" has no unit; write it such as'),
        (("--hold", "60", "--for", "soon"), '--for: the time "soon" cannot be read'),
        (("--hold", "nan", "--for", "1min"), "--hold nan is no temperature of a board"),
        (("--hold", "inf", "--for", "1min"), "--hold inf is no temperature of a board"),
        (("--hold", "-5", "--for", "1min"), "--hold -5 is no temperature of a board"),
        (("--hold", "warm", "--for", "1min"),
         "--hold warm is no temperature of a board: write it in °C, such as --hold 120"),
        (("--hold", "60", "--for", "1min", "--alloy", "SAC35"),
         '--alloy or --laminate: alloy "SAC35" is not in the materials book; did you mean'),
        (("--hold", "60", "--for", "1min", "--laminate", "wood"),
         '--alloy or --laminate: laminate "wood" is not in the materials book'),
    ],
)  # fmt: skip
def test_exactly_a_profile_or_a_hold(emberbed, words, sentence):
    assert refused(emberbed("run", *words)).startswith(sentence)
    assert emberbed("runs", "list").exit_code == 2, "no store was made"


def test_a_hold_that_no_board_bears_is_refused_by_the_same_check(emberbed):
    said = emberbed("run", "--hold", "400", "--for", "5min", *PRESSED)
    assert said.exit_code == 2 and said.out == ""
    assert "400" in said.err and "260 °C" in said.err  # the hard ceiling: J-STD-020 table 4-2


@pytest.mark.parametrize(
    ("act", "sentence"),
    [
        ("jump@3s", '--act jump@3s: "jump" is nothing a person does; the names are hold_here'),
        ("hold_here", "--act hold_here lacks its time after the press; write TOUCH@TIME"),
        ("hold_here@later", '--act hold_here@later: the time "later" cannot be read'),
        ("offset@3s", "--act offset@3s lacks its amount after '#'"),
        ("lift@3s#5", "--act lift names channel 5, but the last sensor is number 1"),
    ],
)
def test_an_act_that_cannot_be(emberbed, act, sentence):
    assert refused(emberbed(*HOLD, *PRESSED, "--act", act)).startswith(sentence)


def test_an_act_without_a_script_to_do_it(emberbed):
    sentence = refused(emberbed(*HOLD, "--act", "cool@3s"))
    assert sentence == "--act is what a script does: add --press, so that there is one"


@pytest.mark.parametrize(
    ("words", "option"),
    [(("--act", "cool@3s"), "--act"), (("--sensor", "edge:board_edge"), "--sensor")],
)
def test_hands_and_sensors_of_a_real_bench_are_its_own(emberbed, words, option):
    sentence = refused(emberbed("run", "label-printer", "--device", "COM7", *words))
    assert sentence.startswith(f"{option} only works on the virtual device")


@pytest.mark.parametrize(
    ("sensor", "sentence"),
    [
        ("edge", "Sensor 'edge' cannot be read; write NAME:PLACE"),
        ("edge:moon", "Sensor 'edge:moon' cannot be read"),
    ],
)
def test_a_sensor_that_cannot_be(emberbed, sensor, sentence):
    assert refused(emberbed(*HOLD, *PRESSED, "--sensor", sensor)).startswith(sentence)


# the touch test


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--for", "1"), '--for: the time "1" has no unit'),
        (("--for", "1s"), "--for 1s is outside 3 s to 10 min: 10s is enough"),
        (("--for", "1h"), "--for 1h is outside 3 s to 10 min"),
        (("--finger", "7"), "--finger 7 is no channel: the last one is 1"),
        (("--device", "COM7", "--finger", "0"), "--finger only works on the virtual device"),
    ],
)
def test_a_touch_test_that_cannot_be(emberbed, words, sentence):
    assert refused(emberbed("device", "touch", *words)).startswith(sentence)
