"""What is planned anew in a wait: when, for whom, and what becomes of it when it is late."""

from types import SimpleNamespace

import pytest

from emberbed.bench import plan_anew
from emberbed.bench.plan_anew import PlanAnew, PlanningHand, may_plan_anew
from emberbed.bench.prepare import NotReady
from emberbed.bench.requests import POWER_ANEW, Requests
from emberbed.bench.wishes import Answer, NewPower
from emberbed.bench.with_heater import load_heater, planning_anew
from emberbed.learn.identified import Identified
from emberbed.link.blocks import feedforward_payloads
from emberbed.link.device import Refused
from emberbed.link.transport import LinkError
from emberbed_fw import messages
from emberbed_fw import run_states as rs
from tests.host.learn.true_heater import true_heater
from tests.support.plans import build_plan, cool, hold, patch_plan, ramp, wait
from tests.support.power_sets import parts_of

STAGES = [ramp(2500, 6000, 100), hold(6000, 50), wait(6000), ramp(6000, 8000, 100), cool()]
PLAN = patch_plan(build_plan(STAGES), "knot", 6, feedforward0_q15=5000)
WAIT = 2
ANEW = [0, 0, 0, 0, 0, 900, 800]


class AtOnce:
    """A thread that has ended as soon as it begins."""

    def __init__(self, target, args, daemon):
        self._run = lambda: target(*args)

    def start(self):
        self._run()

    def is_alive(self):
        return False


@pytest.fixture
def planned(monkeypatch):
    """Return what computes in no time, and the arguments of each computing."""
    asked = []
    monkeypatch.setattr(plan_anew.threading, "Thread", AtOnce)
    monkeypatch.setattr(plan_anew, "powers_anew", lambda *known: asked.append(known) or list(ANEW))
    return PlanAnew(true_heater(), PLAN), asked


def record(state=rs.WAIT, stage=WAIT, elapsed=0):
    return SimpleNamespace(
        state=state, stage=stage, stage_elapsed=elapsed, driven_zones=1, demand0_q15=8192,
        channel_cdeg=lambda _channel: 6000,
    )  # fmt: skip


def wait_for(anew, ticks, first=1):
    for elapsed in range(first, ticks + 1):
        anew(record(elapsed=elapsed))


def test_it_is_planned_after_30_s_and_each_time_the_wait_has_doubled(planned):
    anew, asked = planned
    counts = []
    for elapsed in range(1, 2500):
        anew(record(elapsed=elapsed))
        counts.append(len(asked))
    assert [counts.index(n) + 1 for n in (1, 2, 3, 4)] == [300, 600, 1200, 2400]
    stage, holding, powers = asked[0][5:]
    assert (stage, holding, powers) == (WAIT, 0.25, [0, 0, 0, 0, 0, 0, 5000])


def test_what_comes_in_the_wait_is_wished_once_with_the_payloads_of_the_link(planned):
    anew, _asked = planned
    wait_for(anew, 300)
    (wish,) = anew.wishes(record(elapsed=301))
    assert list(wish.payloads) == parts_of(PLAN, ANEW)
    assert anew.wishes(record(elapsed=302)) == []


def test_what_the_device_has_taken_is_what_is_planned_from_then_on(planned):
    anew, asked = planned
    wait_for(anew, 300)
    (wish,) = anew.wishes(record(elapsed=301))
    wait_for(anew, 600, 301)
    assert asked[-1][7] == [0, 0, 0, 0, 0, 0, 5000], "refused, or not asked yet"
    wish.taken()
    wait_for(anew, 1200, 601)
    assert asked[-1][7] == ANEW


@pytest.mark.parametrize("late", [record(rs.RUN, 3, 1), record(rs.WAIT, 3, 1), record(rs.COOL, 4)])
def test_what_comes_late_is_dropped(planned, late):
    anew, _asked = planned
    wait_for(anew, 300)
    assert anew.wishes(late) == [] and anew.wishes(record(elapsed=301)) == []


def test_new_run_begins_with_the_plans_own(planned):
    anew, asked = planned
    wait_for(anew, 300)
    anew.wishes(record(elapsed=301))[0].taken()
    anew(record(rs.COLD_PROOF, 255, 0))
    wait_for(anew, 300)
    assert asked[-1][7] == [0, 0, 0, 0, 0, 0, 5000]


@pytest.mark.parametrize("state", [rs.RUN, rs.COOL, rs.LOADED])
def test_nothing_is_planned_outside_a_wait(planned, state):
    anew, asked = planned
    for elapsed in range(1, 700):
        anew(record(state, WAIT, elapsed))
    assert asked == []


@pytest.mark.parametrize("error", [ValueError, FloatingPointError])
def test_computing_that_fails_leaves_the_power_as_it_is(planned, monkeypatch, error):
    anew, _asked = planned

    def fails(*_known):
        raise error

    monkeypatch.setattr(plan_anew, "powers_anew", fails)
    wait_for(anew, 300)
    assert anew.wishes(record(elapsed=301)) == []


def test_hand_and_plan_wish_side_by_side(planned):
    anew, _asked = planned
    stops = []
    hand = SimpleNamespace(
        source=messages.BY_PAGE, wishes=lambda *_now: [Answer(7)], stops=lambda: 2,
        forget_stops=lambda: stops.append(1),
    )  # fmt: skip
    wait_for(anew, 300)
    both = PlanningHand(hand, anew)
    wishes = both.wishes(record(elapsed=301), None)
    assert [type(one) for one in wishes] == [Answer, NewPower]
    assert (both.source, both.stops()) == (messages.BY_PAGE, 2)
    both.forget_stops()
    assert stops == [1]


# asked of the device


class Device:
    def __init__(self, refuses_at=None):
        self.asked = []
        self._refuses_at = refuses_at

    def ask(self, kind, payload):
        self.asked.append((kind, payload))
        if len(self.asked) == self._refuses_at:
            raise Refused(kind, messages.WRONG_STATE, None)


def given(device):
    told, taken = [], []
    payloads = tuple(feedforward_payloads(PLAN, ANEW))
    requests = Requests(device, messages.BY_TERMINAL, lambda *said: told.append(said))
    requests.carry_out(NewPower(payloads, lambda: taken.append(1)))
    return payloads, told, taken


def test_every_payload_goes_to_the_device_and_one_line_tells_it():
    device = Device()
    payloads, told, taken = given(device)
    assert device.asked == [(messages.FEEDFORWARD, payload) for payload in payloads]
    assert told == [("power", POWER_ANEW)] and taken == [1]


@pytest.mark.parametrize("refuses_at", [1, 2])
def test_refusal_is_told_and_ends_it(refuses_at):
    device = Device(refuses_at)
    _payloads, told, taken = given(device)
    assert len(device.asked) == refuses_at and taken == []
    ((kind, sentence),) = told
    assert kind == "refusal" and sentence.startswith("The power stays as it was planned before: ")


def test_link_that_breaks_in_the_middle_is_the_loops_to_mend_and_nothing_is_taken():
    class Cut(Device):
        def ask(self, kind, payload):
            super().ask(kind, payload)
            raise LinkError("The cable is out")

    told, taken = [], []
    requests = Requests(Cut(), messages.BY_TERMINAL, lambda *said: told.append(said))
    wish = NewPower(tuple(feedforward_payloads(PLAN, ANEW)), lambda: taken.append(1))
    with pytest.raises(LinkError):
        requests.carry_out(wish)
    assert told == [] and taken == []


# who plans anew


def test_it_must_be_asked_for_with_a_heater_and_a_plan_that_has_power():
    heater = Identified(true_heater(), "heater.toml", plan_anew=True)
    learner, hand = object(), SimpleNamespace(source=2)
    for one, plan in (
        (None, PLAN), (Identified(true_heater(), "heater.toml"), PLAN),
        (heater, build_plan(STAGES)), (heater, patch_plan(PLAN, control1=1)),
    ):  # fmt: skip
        assert planning_anew(one, plan, learner, hand) == (learner, hand)
    assert isinstance(planning_anew(heater, PLAN, learner, hand)[1], PlanningHand)
    assert may_plan_anew(PLAN)


def test_without_a_heater_file_the_flag_is_refused():
    with pytest.raises(NotReady) as why:
        load_heater(None, plan_anew=True)
    assert why.value.sentences == [
        "--plan-anew needs to know the heater: add --heater with its file"
    ]
