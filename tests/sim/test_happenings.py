"""Every row of the catalogue that acts on the heater: acts, is quiet before and after its time."""

from collections.abc import Callable
from typing import NamedTuple

import pytest

from emberbed_sim.faults import CATALOGUE, parse_fault
from emberbed_sim.plant.fault_catalogue import FaultEvent
from emberbed_sim.plant.happenings import Happenings
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import BenchParameters, sensor_at
from emberbed_sim.plant.switches import OUT_CONTACTOR

SENSORS = (
    sensor_at("control", "board_centre"),
    sensor_at("rim", "board_edge"),
    sensor_at("chip", "chip_top"),
    sensor_at("bank", "emitter"),
)
BENCH = BenchParameters(sensors=SENSORS)
ONSET_S, LENGTH_S = 20.0, 30.0


def warm_heater(*faults: str) -> SimulatedHeater:
    """Return a bench with a board of 150 degC on it, as in a soak."""
    heater = SimulatedHeater(BENCH, 1, [parse_fault(fault) for fault in faults])
    heater.thermal.carry(
        emitter_k=603.0, centre_k=423.0, edge_k=420.0, chip_k=413.0, surroundings_k=319.0
    )
    for couple, bead_c in zip(heater.beads.couples, (150.0, 147.0, 140.0, 330.0), strict=True):
        couple.settle(bead_c)
    return heater


def drive(heater: SimulatedHeater, ticks: int) -> None:
    for _ in range(ticks):
        heater.step(1 if round(heater.elapsed_s * 10) % 10 < 3 else 0, OUT_CONTACTOR)


def seen(heater: SimulatedHeater) -> tuple[object, ...]:
    return heater.words, heater.port_flags, heater.truth


def fault_bits(channel: int) -> Callable[[SimulatedHeater], float]:
    """Return D16 and D2..D0 of a channel's word; MAX31855 datasheet page 10."""

    def bits(heater: SimulatedHeater) -> float:
        word = int.from_bytes(heater.words[4 * channel : 4 * channel + 4], "big")
        return (word >> 16 & 1) * 8 + (word & 7)

    return bits


def bead(channel: int) -> Callable[[SimulatedHeater], float]:
    return lambda heater: heater.truth.beads_c[channel]


class Scene(NamedTuple):
    """A row at work: what to look at and how far it must move from a bench without the row."""

    look: Callable[[SimulatedHeater], float]
    least: float
    most: float
    settled: float  # the most that is left five minutes after its end
    amount: str = ""


SCENES = {
    "tc_open": Scene(fault_bits(1), 9, 9, 0, "#1"),
    "ssr_stuck_on": Scene(lambda h: float(h.truth.ssr_conducts), 1, 1, 0),
    # two conductances in series end at 246 degC, 85 % of the way in 30 s (tau 16 s)
    "hot_air": Scene(lambda h: h.truth.chip_c, 75, 90, 3),
    "hot_air_wanders": Scene(lambda h: float(h.truth.air_on), 1, 1, 0, "#400"),
    "cold_chip": Scene(lambda h: h.truth.chip_c, -50, -20, 2),
    # 10 W/m2K x 0.0101 m2 x 100 K on 85 J/K: 0.12 degC/s at first
    "draught": Scene(lambda h: h.truth.board_centre_c, -3.6, -2, 2),
    "bead_touched": Scene(bead(0), -95, -80, 0.5, "#0"),
    "finger": Scene(bead(1), -98, -85, 0.5, "#1"),
    "tape_creep": Scene(bead(2), -6, -2, 0.5, "#2"),
    "bead_lifted": Scene(bead(1), -90, -80, 0.5, "#1"),
    "bead_grounded": Scene(fault_bits(0), 10, 10, 0, "#0"),
    "hot_bench": Scene(lambda h: h.truth.emitter_c, -60, -20, 20),
}


def kind_of(name: str):
    return next(kind for kind in CATALOGUE if kind.name == name)


def fault_text(name: str, length: bool = True) -> str:
    lasts = f":{LENGTH_S:g}s" if length and not kind_of(name).at_once else ""
    return f"{name}@{ONSET_S:g}s{lasts}{SCENES[name].amount}"


def test_every_row_of_the_heater_has_its_scene() -> None:
    assert set(SCENES) == {kind.name for kind in CATALOGUE if kind.acts_on == "heater"}


@pytest.mark.parametrize("name", SCENES)
def test_a_row_is_quiet_before_its_time_acts_in_it_and_ends(name: str) -> None:
    scene, broken, whole = SCENES[name], warm_heater(fault_text(name)), warm_heater()
    for _ in range(round(ONSET_S * 10)):
        assert seen(broken) == seen(whole)
        drive(broken, 1)
        drive(whole, 1)
    assert seen(broken) == seen(whole)
    for heater in (broken, whole):
        drive(heater, 299)  # the last tick of its length, in which both drive nothing
    assert scene.least <= scene.look(broken) - scene.look(whole) <= scene.most
    for heater in (broken, whole):
        drive(heater, 3000)
    assert abs(scene.look(broken) - scene.look(whole)) <= scene.settled


@pytest.mark.parametrize("name", ["bead_touched", "finger"])
def test_a_short_touch_ends_by_itself(name: str) -> None:
    length_s = kind_of(name).lasts_s
    assert length_s
    heater, plain = warm_heater(fault_text(name, length=False)), warm_heater()
    falls = []
    for _ in range(round((ONSET_S + length_s) * 10)):
        drive(heater, 1)
        drive(plain, 1)
        channel = int(SCENES[name].amount[1:])
        falls.append(plain.truth.beads_c[channel] - heater.truth.beads_c[channel])
    assert falls[-1] == max(falls) > 50
    drive(heater, 200)
    drive(plain, 200)
    assert heater.truth.beads_c == pytest.approx(plain.truth.beads_c, abs=0.1)


def test_a_cold_board_feels_a_warm_finger() -> None:
    # ten seconds of a hand of 33 degC at a room of 23 degC: enough to be told from noise
    heater = SimulatedHeater(BENCH, 1, [parse_fault("finger@1s#2")])
    for _ in range(110):
        heater.step(0, 0)
    control_c, rim_c, chip_c, bank_c = heater.truth.beads_c
    assert 5 < chip_c - 23 < 10
    assert (control_c, rim_c, bank_c) == pytest.approx((23.0,) * 3)


def test_a_grounded_bead_reads_on_behind_its_fault_bit() -> None:
    heater = warm_heater("bead_grounded@0s#0")
    drive(heater, 1)
    word = int.from_bytes(heater.words[:4], "big")
    assert word & 0x10007 == 0x10002  # D16 any fault, D1 short to ground: datasheet page 10
    assert 140 < (word >> 18) / 4 < 160


def test_tape_lets_go_slowly() -> None:
    heater, plain = warm_heater("tape_creep@0s"), warm_heater()
    lost_k = []
    for _ in range(12):
        drive(heater, 600)
        drive(plain, 600)
        lost_k.append(plain.truth.beads_c[0] - heater.truth.beads_c[0])
    assert lost_k[0] < 10
    rises_k = [b - a for a, b in zip(lost_k, lost_k[1:], strict=False)]
    assert all(0 < rise_k < 12 for rise_k in rises_k[:8])
    # contact is down to 0.4 after ten minutes and stays there: 0.6 of board over surroundings
    truth = plain.truth
    expected_k = 0.6 * (truth.board_centre_c - truth.surroundings_c)
    assert lost_k[-1] == pytest.approx(expected_k, rel=0.03)


def test_a_lifted_bead_falls_faster_than_any_board_cools_and_its_converter_is_content() -> None:
    heater = warm_heater("bead_lifted@0s#0")
    drive(heater, 10)
    assert heater.truth.beads_c[0] < 150 - 20  # in a second; boards cool by 6 degC/s at most
    assert fault_bits(0)(heater) == 0


def test_hot_air_pulls_at_the_control_sensor_as_it_wanders() -> None:
    steady, wandering, plain = (
        warm_heater(*faults) for faults in (("hot_air@0s",), ("hot_air_wanders@0s",), ())
    )
    pulled_k: dict[str, list[float]] = {"steady": [], "wandering": []}
    for _ in range(1200):
        for heater in (steady, wandering, plain):
            drive(heater, 1)
        for name, heater in (("steady", steady), ("wandering", wandering)):
            truth = heater.truth
            pulled_k[name].append(truth.beads_c[0] - truth.board_centre_c)
    assert 5 < max(pulled_k["steady"]) < 15
    assert max(pulled_k["wandering"]) > 35
    assert min(pulled_k["wandering"][100:]) < 8
    assert wandering.truth.chip_c < steady.truth.chip_c
    assert steady.truth.beads_c[1] == pytest.approx(steady.truth.board_edge_c, abs=1.0)


def test_hotter_air_heats_more_and_one_nozzle_counts() -> None:
    mild, hot = warm_heater("hot_air@0s#300"), warm_heater("hot_air@0s#400")
    both = warm_heater("hot_air@0s#300", "hot_air@0s#400")
    for heater in (mild, hot, both):
        drive(heater, 600)
    assert hot.truth.chip_c > mild.truth.chip_c + 20
    assert both.truth == hot.truth


def test_a_cold_chip_is_placed_once() -> None:
    heater = warm_heater("cold_chip@1s")
    drive(heater, 10)
    assert heater.truth.chip_c > 130
    drive(heater, 1)
    assert heater.truth.chip_c < 25
    carried_j = heater.thermal.energy_carried_j
    drive(heater, 600)
    assert heater.thermal.energy_carried_j == carried_j
    assert heater.truth.chip_c > 80


def test_a_hot_bench_is_hot_from_the_first_word_on() -> None:
    heater = SimulatedHeater(BENCH, 1, [parse_fault("hot_bench@0s")])
    truth = heater.truth
    assert truth.emitter_c == pytest.approx(250.0)
    assert (truth.board_centre_c, truth.board_edge_c, truth.chip_c) == pytest.approx((23.0,) * 3)
    # a simulated run to 212 degC leaves 52 degC around emitters of 250 degC
    assert truth.surroundings_c == pytest.approx(52.5, abs=0.5)
    assert 25 < truth.cold_junction_c < truth.surroundings_c
    bank_c = int.from_bytes(heater.words[12:16], "big", signed=True) / (1 << 18) / 4
    assert bank_c == pytest.approx(250.0, abs=5)
    before_c = truth.board_centre_c
    for _ in range(300):
        heater.step(0, 0)
    assert heater.truth.board_centre_c > before_c + 2  # stored heat arrives without a watt


def test_hot_bench_takes_its_emitters_temperature() -> None:
    mild = SimulatedHeater(BENCH, 1, [parse_fault("hot_bench@0s#100")]).truth
    assert mild.emitter_c == pytest.approx(100.0)
    assert mild.surroundings_c == pytest.approx(23 + 0.13 * 77)


def test_a_bead_that_the_bench_lacks_is_refused() -> None:
    for kind in CATALOGUE:
        if kind.names_channel:
            with pytest.raises(ValueError, match=f"{kind.name} names channel 4, but the last .* 3"):
                Happenings([FaultEvent(kind.name, 1.0, None, 4)], sensors=4)


def test_a_moment_is_handed_out_once() -> None:
    moments = Happenings([FaultEvent("cold_chip", 2.0), FaultEvent("cold_chip", 5.0)], sensors=2)
    assert [len(moments.due(second)) for second in (1.0, 2.0, 3.0, 9.0, 9.0)] == [0, 1, 0, 1, 0]
    assert moments.at(2.0) == {}


def test_the_seed_decides_every_bit_of_a_busy_bench() -> None:
    busy = (
        "hot_bench@0s", "hot_air_wanders@5s:20s", "draught@8s", "tape_creep@1s#1", "finger@3s",
        "bead_touched@12s#2", "bead_lifted@15s:4s", "bead_grounded@22s#1", "cold_chip@18s",
    )  # fmt: skip

    def recorded(seed: int) -> list[object]:
        heater = SimulatedHeater(BENCH, seed, [parse_fault(fault) for fault in busy])
        tape = []
        for _ in range(300):
            drive(heater, 1)
            tape.append(seen(heater))
        return tape

    assert recorded(7) == recorded(7)
    assert recorded(7) != recorded(8)
