"""What happens to converter words: interference, drifts, stuck, stale and swapped ones."""

import pytest

from emberbed_sim.faults import CATALOGUE, parse_fault
from emberbed_sim.plant.converter_board import PORT_BUS_ERROR
from emberbed_sim.plant.fault_catalogue import FaultEvent
from emberbed_sim.plant.happenings import Happenings
from emberbed_sim.plant.heater import SimulatedHeater
from tests.support.warm_heaters import BENCH, drive, fault_bits, read_c, seen, warm_heater


def test_interference_hits_single_readings_both_ways() -> None:
    heater, plain = warm_heater("interference@0s#200,1"), warm_heater()
    off_k = []
    for _ in range(1000):
        drive(heater, 1)
        drive(plain, 1)
        off_k.append(read_c(1)(heater) - read_c(1)(plain))
        assert read_c(0)(heater) == read_c(0)(plain)
    assert {abs(one) for one in off_k} == {0, 200}
    hits = [one for one in off_k if one]
    assert 150 < len(hits) < 250  # a fifth of them: 200 +- 13 (binomial)
    assert 0.35 < sum(one > 0 for one in hits) / len(hits) < 0.65


def test_a_drift_goes_the_way_of_its_sign_for_as_long_as_it_lasts() -> None:
    heater, plain = warm_heater("tc_drifts@10s#-50"), warm_heater()
    for seconds in (60, 400):
        drive(heater, seconds * 10 - round(heater.elapsed_s * 10))
        drive(plain, seconds * 10 - round(plain.elapsed_s * 10))
        gone_k = read_c(0)(heater) - read_c(0)(plain)
        assert gone_k == pytest.approx(-0.05 * (seconds - 10), abs=0.3)
    assert heater.truth.beads_c == plain.truth.beads_c  # the bead itself is well


def test_a_warm_chip_reads_high_by_as_much_as_its_own_junction() -> None:
    # MAX31855 datasheet page 8: the chip adds what its own sensor says, degree for degree
    heater, plain = warm_heater("cold_junction_wrong@0s#20"), warm_heater()
    drive(heater, 6000)
    drive(plain, 6000)
    cold_c = [(int.from_bytes(one.words[2:4], "big", signed=True) >> 4) / 16
              for one in (heater, plain)]  # fmt: skip
    assert cold_c[0] - cold_c[1] == pytest.approx(20.0, abs=0.3)
    assert read_c(0)(heater) - read_c(0)(plain) == pytest.approx(20.0, abs=0.6)


def test_a_type_n_couple_reads_as_its_table_says() -> None:
    # IEC 60584-1, reference at 0 degC, from memory: 100 degC is 4.096 mV (K), 2.774 mV (N);
    # 200 degC is 8.138 mV (K), 5.913 mV (N): 68 to 73 %
    kind = next(kind for kind in CATALOGUE if kind.name == "tc_wrong_type")
    assert 2.774 / 4.096 < kind.usual / 100 < 5.913 / 8.138


def test_a_stuck_word_comes_as_if_it_were_new_and_a_stale_one_does_not() -> None:
    for name, fresh in (("reading_sticks", 0b1111), ("reading_stale", 0b1101)):
        heater = warm_heater(f"{name}@1s:5s#1")
        drive(heater, 10)
        before = heater.words[4:8]
        words, others = set(), set()
        for _ in range(50):
            drive(heater, 1)
            words.add(heater.words[4:8])
            others.add(heater.words[:4])
            assert heater.fresh_channels == fresh
        assert words == {before}
        assert len(others) > 1
        drive(heater, 50)
        assert heater.fresh_channels == 0b1111
        moved = {heater.words[4:8]}
        for _ in range(20):
            drive(heater, 1)
            moved.add(heater.words[4:8])
        assert len(moved) > 1


@pytest.mark.parametrize(("amount", "octet", "flag"), [(0, 0, 0), (1, 255, 0), (2, 0, 16)])
def test_a_dead_bus_reads_as_one_level(amount: int, octet: int, flag: int) -> None:
    heater = warm_heater(f"bus_dead@1s#{amount}")
    drive(heater, 10)
    assert not heater.port_flags & PORT_BUS_ERROR
    drive(heater, 1)
    assert heater.words == bytes([octet] * 16 + [0] * 16)
    assert heater.port_flags & PORT_BUS_ERROR == flag


def test_the_last_channel_is_swapped_with_the_first() -> None:
    heater, plain = warm_heater("channels_swapped@0s#3"), warm_heater()
    drive(heater, 1)
    drive(plain, 1)
    assert heater.words[:4] == plain.words[12:16]
    assert heater.words[12:16] == plain.words[:4]
    assert heater.words[4:12] == plain.words[4:12]


def test_two_faults_of_one_couple_add_up() -> None:
    heater, plain = warm_heater("tc_reversed@0s", "tc_to_supply@0s"), warm_heater()
    drive(heater, 1)
    drive(plain, 1)
    assert fault_bits(0)(heater) == 12
    assert read_c(0)(heater) < -80
    assert heater.words[4:] == plain.words[4:]


def test_a_changed_board_is_cold_with_its_beads_and_chip() -> None:
    heater = warm_heater("board_changed@1s")
    drive(heater, 11)
    truth = heater.truth
    assert (truth.board_centre_c, truth.chip_c) == pytest.approx((23.0, 23.0), abs=0.5)
    assert truth.beads_c[0] == pytest.approx(23.0, abs=0.5)
    assert truth.emitter_c > 250


def test_a_moment_is_handed_out_once() -> None:
    moments = Happenings([FaultEvent("cold_chip", 2.0), FaultEvent("cold_chip", 5.0)], sensors=2)
    assert [len(moments.due(second)) for second in (1.0, 2.0, 3.0, 9.0, 9.0)] == [0, 1, 0, 1, 0]
    assert moments.at(9.0) == {}


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
