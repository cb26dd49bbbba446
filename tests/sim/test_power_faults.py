"""Every row of the power path: what then flows, and what the senses say of it."""

import pytest

from emberbed_fw import record
from emberbed_sim.faults import parse_fault
from emberbed_sim.plant.converter_board import PORT_BUS_ERROR
from emberbed_sim.plant.happenings import Happenings
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import BenchParameters
from emberbed_sim.plant.switches import OUT_CONTACTOR, OUT_FAN, POWER_ROWS, ZONE_BANK, SwitchGear

CLOSED, CURRENT, TURNS = (
    record.PORT_CONTACTOR_CLOSED, record.PORT_HEAT_CURRENT, record.PORT_FAN_TURNS,
)  # fmt: skip
ON = (ZONE_BANK, OUT_CONTACTOR)
OFF = (0, OUT_CONTACTOR)
DARK = (0, 0)
FAN = (0, OUT_FAN)

# fault, what is driven, share of full power that flows, port flags. Power of a resistor goes with
# the square of the voltage (Joule, Ohm); half of the half-waves carry half of the power.
ROWS = [
    ("ssr_stuck_on", OFF, 1.0, CLOSED | CURRENT),
    ("ssr_stuck_on", DARK, 0.0, 0),
    ("ssr_stuck_off", ON, 0.0, CLOSED),
    ("ssr_half_wave", ON, 0.5, CLOSED | CURRENT),
    ("ssr_half_wave", OFF, 0.0, CLOSED),
    ("ssr_leaks", OFF, 0.03, CLOSED),  # too little for the sense
    ("ssr_leaks#20", OFF, 0.2, CLOSED | CURRENT),
    ("ssr_leaks", ON, 1.0, CLOSED | CURRENT),
    ("ssr_leaks", DARK, 0.0, 0),
    ("contactor_welded", (ZONE_BANK, 0), 1.0, CLOSED | CURRENT),
    ("contactor_welded", DARK, 0.0, CLOSED),
    ("contactor_stuck_open", ON, 0.0, 0),
    ("mirror_dead", ON, 1.0, CURRENT),
    ("mirror_stuck", DARK, 0.0, CLOSED),
    ("current_sense_dead", ON, 1.0, CLOSED),
    ("current_sense_stuck", OFF, 0.0, CLOSED | CURRENT),
    ("current_sense_stuck", DARK, 0.0, CURRENT),
    ("emitter_open", ON, 0.0, CLOSED),
    ("emitter_open#75", ON, 0.75, CLOSED | CURRENT),
    ("mains_off_nominal", ON, 0.81, CLOSED | CURRENT),
    ("mains_off_nominal#110", ON, 1.21, CLOSED | CURRENT),
    ("mains_lost", (ZONE_BANK, OUT_CONTACTOR | OUT_FAN), 0.0, 0),
    ("fan_stuck_off", FAN, 0.0, 0),
    ("fan_stuck_on", DARK, 0.0, TURNS),
    ("tach_dead", FAN, 0.0, 0),
]


def happening(*faults: str):
    """Return these as they are once they are there; '#' goes after the time."""
    events = [parse_fault("@0s#".join(one.split("#")) if "#" in one else f"{one}@0s")
              for one in faults]  # fmt: skip
    return Happenings(events, sensors=2, zones=3).at(0.0)


def settled(now, driven: tuple[int, int], zones: int = 1) -> tuple[SwitchGear, list[float]]:
    """Drive for two ticks, so that the contactor is where it goes."""
    gear = SwitchGear(zones)
    gear.step(*driven, now)
    return gear, gear.step(*driven, now)


def test_every_row_of_the_power_path_is_here() -> None:
    """And with each of them at least one bench that is broken differs from a whole one."""
    differs = set()
    for fault, driven, share, flags in ROWS:
        whole, shares = settled(happening(), driven)
        if (shares, whole.port_flags) != ([share], flags):
            differs.add(fault.split("#")[0])
    assert differs == POWER_ROWS


@pytest.mark.parametrize(("fault", "driven", "share", "flags"), ROWS)
def test_what_flows_and_what_is_sensed(
    fault: str, driven: tuple[int, int], share: float, flags: int
) -> None:
    gear, shares = settled(happening(fault), driven)
    assert shares == pytest.approx([share])
    assert gear.port_flags == flags


def test_truth_is_not_what_a_broken_sense_says() -> None:
    gear, _shares = settled(happening("mirror_dead"), OFF)
    assert gear.contactor_closed
    gear, _shares = settled(happening("tach_dead"), FAN)
    assert gear.fan_turns
    gear, _shares = settled(happening("ssr_stuck_on"), DARK)
    assert gear.ssr_conducts


def test_a_zone_breaks_alone() -> None:
    _gear, shares = settled(happening("ssr_stuck_on#1"), OFF, zones=3)
    assert shares == [0.0, 1.0, 0.0]
    _gear, shares = settled(happening("emitter_open#50,2"), (0b111, OUT_CONTACTOR), zones=3)
    assert shares == [1.0, 1.0, 0.5]
    _gear, shares = settled(happening("ssr_half_wave#2", "ssr_stuck_off"), (7, OUT_CONTACTOR), 3)
    assert shares == [0.0, 1.0, 0.5]


def test_faults_of_one_path_multiply() -> None:
    both = happening("mains_off_nominal#110", "emitter_open#75")
    _gear, shares = settled(both, ON)
    assert shares == pytest.approx([1.21 * 0.75])


def test_a_contactor_without_mains_closes_again_when_they_are_back() -> None:
    heater = SimulatedHeater(BenchParameters(), 1, [parse_fault("mains_lost@1s:2s")])
    closed = []
    for _ in range(40):
        heater.step(*ON)
        closed.append(heater.truth.contactor_closed)
    assert closed == [True] * 10 + [False] * 20 + [True] * 10
    assert heater.thermal.energy_in_j == pytest.approx(1000 * (0.97 + 0.03 + 0.97), rel=0.02)


@pytest.mark.parametrize("plant", ["lumped", "grid"])
def test_both_plants_get_the_power_that_is_left(plant: str) -> None:
    heater = SimulatedHeater(BenchParameters(), 1, [parse_fault("ssr_half_wave@0s")], plant)
    for _ in range(50):
        heater.step(*ON)
    assert heater.truth.emitter_power_w == pytest.approx(500.0)
    assert heater.thermal.energy_in_j == pytest.approx(500.0 * 4.97, rel=1e-6)


def test_the_bus_error_is_wired_as_in_the_firmware() -> None:
    assert PORT_BUS_ERROR == record.PORT_BUS_ERROR
