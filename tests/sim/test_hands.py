"""What a person does at the simulated bench: hot air, boards, beads."""

import pytest

from emberbed_sim.faults import parse_fault
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import BenchParameters, sensor_at
from emberbed_sim.plant.switches import OUT_CONTACTOR

BENCH = BenchParameters(
    sensors=(
        sensor_at("control", "board_centre"),
        sensor_at("rim", "board_edge"),
        sensor_at("chip", "chip_top"),
        sensor_at("bank", "emitter"),
    )
)


def after(seconds: int, heater: SimulatedHeater) -> SimulatedHeater:
    for tick in range(seconds * 10):
        heater.step(1 if tick % 5 < 3 else 0, OUT_CONTACTOR)
    return heater


def hot_heater(*faults: str) -> SimulatedHeater:
    return after(240, SimulatedHeater(BENCH, 1, [parse_fault(fault) for fault in faults]))


def test_a_hand_blows_as_the_catalogue_does() -> None:
    by_hand, by_row = hot_heater(), hot_heater("hot_air@240s")
    by_hand.blow()
    assert after(60, by_hand).truth == after(60, by_row).truth
    assert by_hand.truth.air_on


def test_air_stops_when_it_is_taken_away() -> None:
    heater, never = hot_heater(), hot_heater()
    heater.blow(350.0)
    heater.blow(None)
    assert after(5, heater).truth == after(5, never).truth
    assert not heater.truth.air_on


def test_a_hand_that_wanders_blows_the_same_air_elsewhere() -> None:
    steady, tired = hot_heater(), hot_heater("hot_air_wanders@240s#100")
    for heater in (steady, tired):
        heater.blow(380.0)
        after(60, heater)
    assert tired.truth.chip_c < steady.truth.chip_c - 5
    assert tired.truth.board_centre_c > steady.truth.board_centre_c


def test_a_cold_board_comes_onto_a_hot_bench() -> None:
    heater = hot_heater()
    before = heater.truth
    heater.change_board()
    truth = heater.truth
    assert (truth.board_centre_c, truth.board_edge_c, truth.chip_c) == pytest.approx((23.0,) * 3)
    assert truth.beads_c[:3] == (23.0,) * 3
    assert truth.beads_c[3] == before.beads_c[3] > 300
    assert (truth.emitter_c, truth.surroundings_c) == (before.emitter_c, before.surroundings_c)
    assert truth.elapsed_s == before.elapsed_s
    thermal = heater.thermal
    came_j = thermal.energy_in_j + thermal.energy_carried_j
    assert thermal.energy_carried_j < -10_000
    assert thermal.stored_j() + thermal.energy_to_room_j == pytest.approx(came_j, rel=1e-9)


def test_the_second_board_is_warmed_by_stored_heat() -> None:
    heater = hot_heater()
    heater.change_board()
    for _ in range(600):
        heater.step(0, 0)
    assert heater.truth.board_centre_c > 23 + 25


def test_happenings_keep_the_time_of_the_bench_over_boards() -> None:
    heater = hot_heater("tc_open@250s:1s#1")
    heater.change_board()
    open_ticks = []
    for tick in range(150):
        heater.step(0, 0)
        if heater.words[7] & 7:
            open_ticks.append(tick)
    assert open_ticks == list(range(100, 110))


def test_a_finger_stays_for_its_time() -> None:
    heater = SimulatedHeater(BENCH, 1)
    heater.finger(0, 4.0)
    beads_c = []
    for _ in range(100):
        heater.step(0, 0)
        beads_c.append(heater.truth.beads_c[0])
    assert beads_c.index(max(beads_c)) == 39
    # 0.8 of the way to skin of 33 degC, 1 - exp(-4 / 1.5) of it after 4 s; one tick is given away
    assert max(beads_c) - 23 == pytest.approx(0.8 * 10 * 0.930, rel=0.01)
    assert beads_c[-1] < 23.5


def test_a_lifted_bead_can_be_pressed_down_again() -> None:
    heater, left = hot_heater(), hot_heater()
    heater.lift(0)
    after(10, heater)
    after(10, left)
    assert heater.truth.beads_c[0] < left.truth.beads_c[0] - 60
    heater.press(0)
    assert after(20, heater).truth.beads_c == pytest.approx(after(20, left).truth.beads_c, abs=0.1)


def test_a_new_board_gets_its_beads_taped_down() -> None:
    heater, left = hot_heater(), hot_heater()
    heater.lift(0)
    for one in (heater, left):
        one.change_board()
        after(60, one)
    assert heater.truth == left.truth


@pytest.mark.parametrize("channel", [-1, 4, 7])
def test_a_bead_that_is_not_there_is_refused(channel: int) -> None:
    heater = SimulatedHeater(BENCH, 1)
    for reach in (heater.lift, heater.press, lambda n: heater.finger(n, 1.0)):
        with pytest.raises(ValueError, match=f"Channel {channel} has no sensor .* give 0 to 3"):
            reach(channel)


def test_hands_leave_the_noise_alone() -> None:
    # the same converter noise whatever hands do: only the touched channel's words change
    heater, left = SimulatedHeater(BENCH, 5), SimulatedHeater(BENCH, 5)
    heater.finger(1, 5.0)
    for _ in range(50):
        heater.step(0, 0)
        left.step(0, 0)
        assert heater.words[:4] + heater.words[8:] == left.words[:4] + left.words[8:]
    assert heater.words != left.words
