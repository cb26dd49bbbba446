"""Every row of the catalogue that acts on the heater: acts, is quiet before and after its time."""

from collections.abc import Callable
from typing import NamedTuple

import pytest

from emberbed_sim.faults import CATALOGUE, parse_fault
from emberbed_sim.plant.fault_catalogue import FaultEvent
from emberbed_sim.plant.happenings import Happenings
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.switches import POWER_ROWS
from tests.support.warm_heaters import BENCH, drive, fault_bits, read_c, seen, warm_heater

ONSET_S, LENGTH_S = 20.0, 30.0


def bead(channel: int) -> Callable[[SimulatedHeater], float]:
    return lambda heater: heater.truth.beads_c[channel]


class Scene(NamedTuple):
    """A row at work: what to look at and how far it must move from a bench without the row."""

    look: Callable[[SimulatedHeater], float]
    least: float
    most: float
    settled: float  # the most that is left five minutes after its end
    amount: str = ""
    meanwhile: str = ""  # what happens on both benches


SCENES = {
    "tc_open": Scene(fault_bits(1), 9, 9, 0, "#1"),
    "tc_to_supply": Scene(fault_bits(1), 12, 12, 0, "#1"),
    # the cold junction is at 26 degC, the air around the leads at 46 degC
    "tc_grounded_unseen": Scene(read_c(0), -130, -115, 0, "#0"),
    "tc_shorted": Scene(read_c(1), -105, -90, 0, "#1"),
    "tc_reversed": Scene(read_c(0), -260, -235, 0, "#0"),  # mirrored: 2 x 26 - 150
    "tc_wrong_type": Scene(read_c(0), -40, -34, 0, "#70,0"),  # 30 % of the rise over 26 degC
    "tc_drifts": Scene(read_c(1), 2.5, 3.5, 0, "#100,1"),
    "cold_junction_wrong": Scene(read_c(0), 1.75, 2.75, 0, "#10,0"),  # 10 (1 - exp(-30 / 120))
    "reading_sticks": Scene(read_c(0), 75, 95, 0, "#0", "bead_lifted@25s:60s#0"),
    "reading_stale": Scene(lambda h: float(h.fresh_channels), -2, -2, 0, "#1"),
    "bus_dead": Scene(lambda h: float(any(h.words)), -1, -1, 0),
    "channels_swapped": Scene(read_c(2), 100, 250, 0, "#2"),
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
    # contact 0.3: 0.7 of board over surroundings is missing
    "bead_half_off": Scene(bead(0), -78, -65, 0.5, "#30,0"),
    "board_changed": Scene(lambda h: h.truth.board_centre_c, -127, -100, 60),
    "hot_bench": Scene(lambda h: h.truth.emitter_c, -60, -20, 20),
}


def kind_of(name: str):
    return next(kind for kind in CATALOGUE if kind.name == name)


def fault_text(name: str, length: bool = True) -> str:
    lasts = f":{LENGTH_S:g}s" if length and not kind_of(name).at_once else ""
    return f"{name}@{ONSET_S:g}s{lasts}{SCENES[name].amount}"


def test_every_row_of_the_heater_has_its_scene() -> None:
    """Those of the power path and the interference have tests of their own."""
    elsewhere = POWER_ROWS | {"interference"}
    assert set(SCENES) | elsewhere == {kind.name for kind in CATALOGUE if kind.acts_on == "heater"}


@pytest.mark.parametrize("name", SCENES)
def test_a_row_is_quiet_before_its_time_acts_in_it_and_ends(name: str) -> None:
    scene = SCENES[name]
    both = [scene.meanwhile] if scene.meanwhile else []
    broken, whole = warm_heater(fault_text(name), *both), warm_heater(*both)
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
        if kind.part == "channel" and kind.amount_is_part:
            with pytest.raises(ValueError, match=f"{kind.name} names channel 4, but the last .* 3"):
                Happenings([FaultEvent(kind.name, 1.0, None, 4)], sensors=4)
        elif kind.part == "channel":
            with pytest.raises(ValueError, match=f"{kind.name} names channel 4, but the last .* 3"):
                Happenings([FaultEvent(kind.name, 1.0, None, None, 4)], sensors=4)
        elif kind.part == "zone":
            with pytest.raises(ValueError, match=f"{kind.name} names zone 2, but the last .* 1"):
                Happenings([parse_fault(zone_text(kind, 2))], sensors=4, zones=2)


def zone_text(kind, zone: int) -> str:
    between = "#" if kind.amount_is_part else f"#{kind.usual},"
    return f"{kind.name}@1s{between}{zone}"


def test_channels_of_a_bench_with_one_sensor_cannot_be_swapped() -> None:
    with pytest.raises(ValueError, match="channels_swapped needs two sensors"):
        Happenings([parse_fault("channels_swapped@1s")], sensors=1)


def test_events_of_others_do_not_happen() -> None:
    events = [parse_fault(text) for text in ("host_silent@1s", "late_ticks@1s", "tc_open@1s")]
    assert list(Happenings(events, sensors=2).at(2.0)) == ["tc_open"]
    assert list(Happenings(events, acts_on="device").at(2.0)) == ["late_ticks"]
    assert list(Happenings(events, acts_on="link").at(2.0)) == ["host_silent"]


def test_what_lasts_is_looked_up_as_if_in_every_tick() -> None:
    texts = ("tc_open@2s:3s", "draught@4s:1s", "draught@4s:6s#20", "ssr_leaks@9.7s")
    events = [parse_fault(text) for text in texts]
    happenings = Happenings(events, sensors=2)
    for tick in range(150):
        now = happenings.at(tick / 10)
        assert [event for same in now.values() for event in same] == [
            event for event in sorted(events, key=lambda one: texts.index(_text_of(one, texts)))
            if event.active_at(tick / 10)
        ]  # fmt: skip


def _text_of(event: FaultEvent, texts: tuple[str, ...]) -> str:
    return next(text for text in texts if parse_fault(text) == event)


def test_added_events_happen_too() -> None:
    happenings = Happenings([parse_fault("tc_open@2s")], sensors=2)
    assert list(happenings.at(3.0)) == ["tc_open"]
    happenings.add([parse_fault("draught@3.1s"), parse_fault("cold_chip@3s")])
    assert [event.name for event in happenings.due(3.0)] == ["cold_chip"]
    assert list(happenings.at(3.1)) == ["tc_open", "draught"]
