"""Keys and their hints against the firmware: what is offered is taken, what is not is refused."""

import pytest

from emberbed.bench import key_table
from emberbed.bench.key_table import BY_KEY, KEYS, answer_hint, answer_wish, hints
from emberbed.bench.wishes import Answer, Stop, Touch
from emberbed_fw import messages
from emberbed_fw.units import NONE
from tests.host.bench import moments
from tests.host.bench.moments import followed

TOUCHES = [row for row in KEYS if row.key != "s"]
# A note may be set in the cooling too, but nobody needs it there: taken, and not offered.
NOT_OFFERED = {("m", "cooling"), ("m", "cooling_waits_for_fan"), ("f", "cooling")}


@pytest.mark.parametrize("moment", moments.MOMENTS, ids=lambda moment: moment.__name__)
@pytest.mark.parametrize("row", TOUCHES, ids=lambda row: row.key)
def test_a_key_is_offered_when_the_device_takes_it_and_only_then(moment, row):
    bench = moment()
    progress = followed(bench)
    offered = bool(row.hint(progress))
    wish = row.wish(progress)
    assert isinstance(wish, Touch)
    taken = bench.touch(wish.kind, wish.amount) == messages.DONE
    if (row.key, moment.__name__) in NOT_OFFERED:
        assert taken and not offered
    else:
        assert offered == taken


@pytest.mark.parametrize("moment", moments.MOMENTS, ids=lambda moment: moment.__name__)
def test_enter_is_offered_when_there_is_a_question_or_something_held(moment):
    bench = moment()
    progress = followed(bench)
    wish = answer_wish(progress)
    assert bool(answer_hint(progress)) == (wish is not None)
    if isinstance(wish, Answer):
        assert wish.prompt == bench.machine.prompt()
        bench.acknowledge(wish.prompt)
        bench.tick()
        assert bench.refusals[-1] == messages.DONE
    elif wish is not None:
        assert bench.touch(wish.kind) == messages.DONE
    else:
        assert bench.machine.prompt() == NONE


@pytest.mark.parametrize(
    ("moment", "told"),
    [
        (moments.armed, []),
        (moments.first_ramp, ["M: mark", "H: hold here", "N: next stage",
                              "+ -: target by 1 °C", "C: cool down", "S: smoke, heat off"]),
        (moments.first_hold, ["M: mark", "H: hold here", "E: 1 min more",
                              "N: next stage", "+ -: target by 1 °C",
                              "C: cool down", "S: smoke, heat off"]),
        (moments.flux_wait, ["M: mark 'flux on'", "E: 1 min more", "N: next stage",
                             "L: last plateau", "+ -: target by 1 °C",
                             "C: cool down", "S: smoke, heat off"]),
        (moments.air_on, ["M: mark 'solder moves'", "E: 1 min more", "N: next stage",
                          "+ -: target by 1 °C", "C: cool down",
                          "S: smoke, heat off"]),
        (moments.cooling, []),
        (moments.cooling_waits_for_fan, ["F: fan now"]),
    ],
    ids=lambda one: one.__name__ if callable(one) else "",
)  # fmt: skip
def test_what_is_offered(moment, told):
    assert hints(followed(moment())) == told


def test_while_held_h_and_enter_go_on():
    progress = followed(moments.held())
    assert "H: go on" in hints(progress)
    assert BY_KEY["h"].wish(progress) == answer_wish(progress) == Touch(messages.GO_ON)
    assert answer_hint(progress) == "go on"


def test_the_target_goes_up_and_down_by_a_degree_from_where_it_is():
    bench = moments.second_ramp()
    for _time in range(2):
        wish = BY_KEY["+"].wish(followed(bench))
        assert bench.touch(wish.kind, wish.amount) == messages.DONE
    assert bench.record.offset_cdeg == 200
    assert BY_KEY["-"].wish(followed(bench)) == Touch(messages.OFFSET, 100)


def test_past_five_degrees_a_key_is_no_more_offered_and_the_device_says_no():
    bench = moments.second_ramp()
    assert bench.touch(messages.OFFSET, -500) == messages.DONE
    progress = followed(bench)
    assert "+: target +1 °C" in hints(progress)
    assert not any(hint.startswith(("-", "+ -")) for hint in hints(progress))
    wish = BY_KEY["-"].wish(progress)
    assert bench.touch(wish.kind, wish.amount) == messages.BAD_RANGE


def test_the_second_c_says_what_it_does():
    told = hints(followed(moments.first_ramp()), cool_asked=True)
    assert "C: again: cool down now" in told


def test_smoke_stops_whatever_the_moment():
    for moment in (moments.first_ramp, moments.cooling, moments.armed):
        assert BY_KEY["s"].wish(followed(moment())) == Stop(messages.STOP_SMOKE)
    assert not BY_KEY["s"].hint(followed(moments.cooling()))


def test_no_key_means_two_things():
    keys = [row.key for row in KEYS] + [key_table.BUTTON_KEY, key_table.AIR_KEY]
    keys += list(key_table.ANSWER_KEYS)
    assert len(set(keys)) == len(keys)
    assert all(key == key.lower() for key in keys)


def test_every_change_of_the_firmware_has_its_key():
    wishes = [row.wish(followed(moments.first_ramp())) for row in KEYS]
    kinds = {wish.kind for wish in wishes if isinstance(wish, Touch)}
    kinds |= {BY_KEY["h"].wish(followed(moments.held())).kind}
    assert kinds | {messages.ANSWER} == set(messages.TOUCH_NAMES)
