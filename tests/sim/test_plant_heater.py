"""The whole simulated heater: plausible, readable, repeatable, breakable."""

from itertools import pairwise

import pytest

from emberbed_sim.faults import FaultEvent
from emberbed_sim.plant.converter import bus_bytes, convert
from emberbed_sim.plant.heater import PLANTS, SimulatedHeater
from emberbed_sim.plant.parameters import (
    BenchParameters,
    MainsParameters,
    SensorPlacement,
    bench_for_board,
)
from emberbed_sim.plant.switches import (
    OUT_CONTACTOR,
    OUT_FAN,
    PORT_CONTACTOR_CLOSED,
    PORT_HEAT_CURRENT,
)

SIXTY_PERCENT = (1, 1, 0, 1, 0)


def heat(heater: SimulatedHeater, seconds: int) -> None:
    for tick in range(seconds * 10):
        heater.step(SIXTY_PERCENT[tick % 5], OUT_CONTACTOR)


def hot_bits_c(words: bytes, channel: int) -> float:
    """Return the chip's own hot reading; D31..D18, two's complement, MAX31855 datasheet page 10."""
    word = int.from_bytes(words[4 * channel : 4 * channel + 4], "big", signed=True)
    return (word >> 18) / 4


def test_first_words_are_there_before_the_first_step() -> None:
    heater = SimulatedHeater(BenchParameters(), seed=1)
    assert len(heater.words) == 32
    assert heater.fresh_channels == 0b11
    assert heater.port_flags == 0
    assert heater.words[8:] == bytes(24)
    # a bench at rest is at room temperature everywhere, within noise and one step of the chip
    assert hot_bits_c(heater.words, 0) == pytest.approx(23.0, abs=0.75)
    assert int.from_bytes(heater.words[2:4], "big") == 23 * 256


def test_default_bench_follows_the_ordinary_ramp_at_sixty_percent() -> None:
    # 0.6 degC/s around 90 degC and a 150 degC soak: common practice, no source
    heater = SimulatedHeater(BenchParameters(), seed=1)
    reached_s: dict[int, float] = {}
    for tick in range(4000):
        heater.step(SIXTY_PERCENT[tick % 5], OUT_CONTACTOR)
        reached_s.setdefault(int(heater.truth.board_centre_c), heater.elapsed_s)
    assert 0.6 < 10 / (reached_s[95] - reached_s[85]) < 1.0
    assert 150 in reached_s
    truth = heater.truth
    assert truth.board_edge_c < truth.board_centre_c < truth.board_edge_c + 15
    assert truth.emitter_c < 871  # quartz tube with coil: 1600 F, vendor tables
    assert truth.surroundings_c > 30


def test_heat_in_the_emitters_keeps_arriving() -> None:
    # 10 to 25 degC after the switch opens: common practice, no source
    heater = SimulatedHeater(BenchParameters(), seed=1)
    while heater.truth.board_centre_c < 120:
        heat(heater, 1)
    opened_c = heater.truth.board_centre_c
    peak_c = opened_c
    for _ in range(1500):
        heater.step(0, 0)
        peak_c = max(peak_c, heater.truth.board_centre_c)
    assert 8 < peak_c - opened_c < 25


def test_fan_cools_faster_than_still_air_but_gently() -> None:
    # largest cooling rate in use 2 degC/s: common practice, no source
    still, blown = (SimulatedHeater(BenchParameters(), seed=1) for _ in range(2))
    for heater, outputs in ((still, 0), (blown, OUT_FAN)):
        heat(heater, 240)
        rates = []
        for _ in range(900):
            before_c = heater.truth.board_centre_c
            heater.step(0, outputs)
            rates.append((before_c - heater.truth.board_centre_c) * 10)
        assert max(rates) < 2.0
    assert blown.truth.board_centre_c < still.truth.board_centre_c - 20


def test_sensors_read_their_places() -> None:
    sensors = (
        SensorPlacement("chip"),
        SensorPlacement("rim", "board_edge"),
        SensorPlacement("bank", "emitter"),
    )
    heater = SimulatedHeater(bench_for_board(240, 180, 120, sensors), seed=1)
    heat(heater, 180)
    truth = heater.truth
    assert heater.fresh_channels == 0b111
    places = (truth.board_centre_c, truth.board_edge_c, truth.emitter_c)
    assert truth.beads_c == pytest.approx(places, abs=3.0)  # 1.5 s late on the ramp
    assert truth.beads_c[1] < truth.beads_c[0] < truth.beads_c[2]


def test_words_show_the_beads_as_the_conversion_began() -> None:
    heater = SimulatedHeater(
        BenchParameters(sensors=(SensorPlacement("bank", "emitter"),), noise_c=0.0), seed=1
    )
    heat(heater, 60)
    before_c, cold_c = heater.truth.beads_c[0], heater.truth.cold_junction_c
    heater.step(1, OUT_CONTACTOR)
    assert heater.words == bus_bytes([convert(before_c, cold_c)])


def test_a_bead_in_the_beam_reads_high_by_the_emitters_radiation() -> None:
    # Stefan-Boltzmann with sigma of CODATA 2018; 0.1 K per kW/m2; the lag of 1.5 s is the tolerance
    sensors = (SensorPlacement("shaded"), SensorPlacement("seen", stray_ir=0.1))
    heater = SimulatedHeater(BenchParameters(sensors=sensors), seed=1)
    heat(heater, 180)
    truth = heater.truth
    emitter_k, board_k = truth.emitter_c + 273.15, truth.board_centre_c + 273.15
    net_kw_m2 = 5.670374419e-11 * (emitter_k**4 - board_k**4)
    assert truth.beads_c[1] - truth.beads_c[0] == pytest.approx(0.1 * net_kw_m2, rel=0.02)


def test_noise_has_its_stated_size() -> None:
    heater = SimulatedHeater(BenchParameters(noise_c=2.0), seed=5)
    readings_c = []
    for _ in range(4000):
        heater.step(0, 0)
        readings_c.append(hot_bits_c(heater.words, 0))
    mean_c = sum(readings_c) / len(readings_c)
    rms_c = (sum((c - mean_c) ** 2 for c in readings_c) / len(readings_c)) ** 0.5
    # type K slope at 23 degC is 40.5 uV/degC on a chip that assumes 41.276 (NIST Monograph 175)
    assert rms_c == pytest.approx(2.0 * 40.5 / 41.276, rel=0.05)


def test_cold_junction_slowly_follows_the_surroundings() -> None:
    # +8 to 10 degC in a quarter of an hour in a closed box, as users report
    heater = SimulatedHeater(BenchParameters(), seed=1)
    heat(heater, 900)
    rise_c = heater.truth.cold_junction_c - 23.0
    assert 3 < rise_c < 12
    assert rise_c < heater.truth.surroundings_c - 23.0
    assert int.from_bytes(heater.words[2:4], "big") / 256 == pytest.approx(23 + rise_c, abs=0.05)


def test_power_goes_with_the_square_of_the_voltage() -> None:
    # Joule's law on a fixed resistance: 207 V of 230 V gives 81 %
    heater = SimulatedHeater(BenchParameters(mains=MainsParameters(actual_v=207.0)), seed=1)
    heater.step(1, OUT_CONTACTOR)
    heater.step(1, OUT_CONTACTOR)
    assert heater.truth.emitter_power_w == pytest.approx(810.0)


def recorded(seed: int) -> list[tuple[bytes, int]]:
    heater = SimulatedHeater(BenchParameters(), seed, [FaultEvent("tc_open", 20.0, 1.0)])
    seen = []
    for tick in range(300):
        heater.step(SIXTY_PERCENT[tick % 5], OUT_CONTACTOR)
        seen.append((heater.words, heater.port_flags))
    return seen


def test_the_seed_decides_every_bit() -> None:
    assert recorded(7) == recorded(7)
    assert recorded(7) != recorded(8)


def test_tc_open_breaks_one_channel_for_its_time() -> None:
    heater = SimulatedHeater(BenchParameters(), 1, [FaultEvent("tc_open", 2.0, 0.5, 1)])
    open_ticks = []
    for tick in range(40):
        heater.step(0, 0)
        assert heater.words[3] & 7 == 0  # the other couple is whole
        if heater.words[7] & 7 == 1 and heater.words[5] & 1:
            open_ticks.append(tick)
    assert open_ticks == [20, 21, 22, 23, 24]


def test_tc_open_on_a_channel_without_sensor_is_refused() -> None:
    with pytest.raises(ValueError, match="channel 2, but the last sensor .* channel 1"):
        SimulatedHeater(BenchParameters(), 1, [FaultEvent("tc_open", 2.0, None, 2)])


def test_ssr_stuck_on_heats_until_the_contactor_opens() -> None:
    heater = SimulatedHeater(BenchParameters(), 1, [FaultEvent("ssr_stuck_on", 1.0)])
    flags = []
    for tick in range(40):
        heater.step(0, OUT_CONTACTOR if tick < 20 else 0)
        flags.append(heater.port_flags)
    assert flags[:10] == [PORT_CONTACTOR_CLOSED] * 10
    assert flags[10:20] == [PORT_CONTACTOR_CLOSED | PORT_HEAT_CURRENT] * 10
    assert flags[20:] == [PORT_HEAT_CURRENT] + [0] * 19  # current flowed until the contact opened
    assert heater.truth.emitter_c == pytest.approx(
        23.0 + 1000 * 1.03 / 120, abs=0.5
    )  # W s over J/K
    assert heater.truth.emitter_power_w == 0.0
    assert heater.truth.ssr_conducts


def test_host_silent_is_not_the_heaters_business() -> None:
    quiet = SimulatedHeater(BenchParameters(), 1, [FaultEvent("host_silent", 0.0)])
    plain = SimulatedHeater(BenchParameters(), 1)
    heat(quiet, 5)
    heat(plain, 5)
    assert (quiet.words, quiet.truth) == (plain.words, plain.truth)


def test_time_is_counted_in_ticks() -> None:
    heater = SimulatedHeater(BenchParameters(), 1)
    times = [heater.elapsed_s]
    for _ in range(1200):
        heater.step(0, 0)
        times.append(heater.elapsed_s)
    assert times[-1] == 120.0
    assert all(later > earlier for earlier, later in pairwise(times))


@pytest.mark.parametrize("plant", PLANTS)
def test_a_place_alone_is_what_a_bead_there_feels(plant: str) -> None:
    heater = SimulatedHeater(BenchParameters(), 1, plant=plant)
    for _tick in range(50):
        heater.step(1, OUT_CONTACTOR)
    felt = [heater.thermal.felt(couple.placement).place_c for couple in heater.beads.couples]
    assert list(heater.truth.places_c) == felt
    assert len(set(felt)) > 1
