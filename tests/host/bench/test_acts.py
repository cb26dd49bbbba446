"""Acts as people write them: names, times, amounts; one sentence for what cannot be."""

import pytest

from emberbed.bench.acts import DEEDS, Act, parse_act
from emberbed_fw import messages


@pytest.mark.parametrize(
    ("text", "act"),
    [
        ("hold_here@90s", Act("hold_here", 90, 0)),
        ("go_on@1.5min", Act("go_on", 90, 0)),
        ("extend@2min#45", Act("extend", 120, 45)),
        ("offset@2min#-3", Act("offset", 120, -3)),
        ("mark@10s#solder_moves", Act("mark", 10, messages.MARK_SOLDER_MOVES)),
        ("lift@1min30s#7", Act("lift", 90, 7)),
    ],
)
def test_what_can_be_read(text, act):
    assert parse_act(text) == act


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("jump@3s", '--act jump@3s: "jump" is nothing a person does; the names are hold_here,'),
        ("hold@3s", '--act hold@3s: "hold" is nothing a person does; did you mean "hold_here"?'),
        ("", '--act : "" is nothing a person does; the names are'),
        ("next", "--act next lacks its time after the press; write TOUCH@TIME, such as hold_here"),
        ("next@soon", '--act next@soon: the time "soon" cannot be read; write it such as 30min'),
        ("next@30", '--act next@30: the time "30" has no unit; write it such as 30min'),
        ("next@-3s", '--act next@-3s: the time "-3s" cannot be read'),
        ("next@3s#1", "--act next@3s#1: the amount '1' cannot be: it takes no amount"),
        ("offset@3s", "--act offset@3s lacks its amount after '#': -50 to 50 °C"),
        ("offset@3s#hot", "--act offset@3s#hot: the amount 'hot' cannot be: -50 to 50 °C"),
        ("offset@3s#nan", "--act offset@3s#nan: the amount 'nan' cannot be"),
        ("offset@3s#99", "--act offset@3s#99: the amount '99' cannot be"),
        ("lift@3s#1.5", "--act lift@3s#1.5: the amount '1.5' cannot be: the number of a channel"),
        ("lift@3s#8", "--act lift@3s#8: the amount '8' cannot be"),
        ("mark@3s#3", "--act mark@3s#3: the amount '3' cannot be: one of next, flux_on"),
        ("mark@3s#", "--act mark@3s#: the amount '' cannot be: one of"),
        ("stop@\x1b[2J", "--act stop@[2J: the time"),
    ],
)
def test_what_cannot_is_one_sentence(text, sentence):
    with pytest.raises(ValueError) as refused:
        parse_act(text)
    told = str(refused.value)
    assert told.startswith(sentence)
    assert "\n" not in told and "\x1b" not in told and ". " not in told


def test_every_deed_is_a_request_or_a_move():
    for name, deed in DEEDS.items():
        assert (deed.wish is None) != (deed.move is None), name
        least, most = deed.amounts
        assert least <= most
        assert deed.usual is None or least <= deed.usual <= most


def test_only_what_is_done_to_a_bead_names_a_channel():
    assert [name for name, deed in DEEDS.items() if deed.names_channel] == [
        "lift", "press_down", "finger",
    ]  # fmt: skip
    assert parse_act("finger@1s#3").channel() == 3
    assert parse_act("offset@1s#3").channel() is None
