"""Firmware and simulated heater in lockstep: arming, operator, determinism, what is refused."""

from itertools import islice

import pytest

from emberbed.records import commands_of, decode_record
from emberbed_fw import messages, replay
from emberbed_fw import run_states as rs
from emberbed_fw.settings import Settings, settings_fit
from emberbed_fw.units import NONE, TICKS_PER_S
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.closed_loop import ClosedLoop, Operator
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import BenchParameters
from tests.support.profiles import PROMPT, hold_profile
from tests.support.tapes import loop_of, plan_of, small_bench

PROFILE = hold_profile(for_s=20, to_c=55, prompt=PROMPT)


@pytest.fixture(scope="module")
def tape():
    return list(loop_of(PROFILE).run())


def states(tape):
    seen = [decode_record(raw).state for raw in tape]
    return [state for n, state in enumerate(seen) if n == 0 or seen[n - 1] != state]


def test_a_run_goes_from_arming_to_cold(tape):
    assert replay.arms(tape[0], len(tape[0]))
    assert states(tape) == [
        rs.COLD_PROOF, rs.HOT_PROOF, rs.RUN, rs.WAIT, rs.COOL, rs.FINISHED,
    ]  # fmt: skip


def test_the_same_seed_gives_the_same_bits_and_another_does_not(tape):
    assert list(islice(loop_of(PROFILE).run(), 600)) == tape[:600]
    assert list(islice(loop_of(PROFILE, seed=2).run(), 600)) != tape[:600]


def test_the_operator_answers_after_their_time(tape):
    records = [decode_record(raw) for raw in tape]
    asked = next(one.tick for one in records if one.prompt != NONE)
    answers = [
        records[n].tick
        for n, raw in enumerate(tape)
        if messages.ACK_PROMPT in dict(commands_of(raw))
    ]
    assert answers[0] - asked == pytest.approx(Operator().answers_after_s * TICKS_PER_S, abs=2)


def test_nobody_presses_nothing_heats():
    loop = loop_of(PROFILE, operator=Operator(presses=False))
    records = [decode_record(raw) for raw in islice(loop.run(), 1300)]
    assert records[-1].state == rs.LOADED  # the offer of the press has expired
    assert not any(one.driven_zones for one in records)


def test_the_operator_can_stop():
    records = [decode_record(raw) for raw in loop_of(PROFILE, operator=_stopper()).run()]
    assert records[-1].state == rs.STOPPED
    cools = next(one for one in records if one.state == rs.COOL)
    assert cools.tick == pytest.approx(30 * TICKS_PER_S, abs=2)


def _stopper():
    return Operator(stops_at_s=30.0)


def test_a_silent_host_is_a_lost_link():
    records = [decode_record(raw) for raw in loop_of(PROFILE, "host_silent@30s").run()]
    assert records[-1].state == rs.LINK_LOST


def test_the_next_board_runs_on_the_same_bench_and_device():
    """A second plan on a heater that has been used: no waiting for cold emitters."""
    shorter = hold_profile(for_s=5, to_c=60)
    first = loop_of(PROFILE)
    taken = len(list(first.run()))
    board_c = first.heater.truth.board_centre_c
    second = first.next_board(plan_of(shorter)[0], after_s=20.0)
    truth = second.heater.truth
    assert second.heater is first.heater and second.machine is first.machine
    assert truth.elapsed_s == pytest.approx((taken + 200) / TICKS_PER_S)
    assert truth.board_centre_c < board_c - 15
    assert truth.emitter_c > 70
    records = [decode_record(raw) for raw in second.run()]
    assert records[-1].state == rs.FINISHED
    assert any(one.driven_zones for one in records)


def test_faults_keep_the_time_of_the_bench_over_boards():
    shorter = plan_of(hold_profile(for_s=5, to_c=60))[0]
    first = loop_of(PROFILE)
    end_s = len(list(first.run())) / TICKS_PER_S
    first = loop_of(PROFILE, f"tc_open@{end_s + 60:.1f}s")
    assert [decode_record(raw) for raw in first.run()][-1].state == rs.FINISHED
    second = first.next_board(shorter, after_s=20.0)
    records = [decode_record(raw) for raw in second.run()]
    trip = next(n for n, one in enumerate(records) if one.trip)
    assert trip / TICKS_PER_S == pytest.approx(40, abs=1)


def test_a_used_heater_can_be_given_to_a_new_device():
    heater = loop_of(PROFILE).heater
    for _ in range(100):
        heater.step(1, 1)
    heater.change_board()
    settings = bench_settings(small_bench())
    records = [
        decode_record(raw) for raw in ClosedLoop(settings, plan_of(PROFILE)[0], heater).run()
    ]
    assert records[-1].state == rs.FINISHED


def test_what_the_firmware_would_refuse_is_refused():
    plan, _prompts = plan_of(PROFILE)
    bench = small_bench()
    settings = bench_settings(bench)
    heater = SimulatedHeater(bench, 1)
    with pytest.raises(ValueError, match="description"):
        ClosedLoop(settings[:-1], plan, heater)
    with pytest.raises(ValueError, match="refuses this plan"):
        ClosedLoop(settings, plan[:-1] + bytes([plan[-1] ^ 1]), heater)


def test_the_bench_describes_itself_as_the_plant_is():
    bench = BenchParameters()
    block = bench_settings(bench)
    assert settings_fit(block)
    settings = Settings(block)
    assert settings.watts[0] == round(bench.emitter.watts)
    fitted = [channel for channel in range(8) if settings.channel_fitted(channel)]
    assert fitted == list(range(len(bench.sensors)))
