"""Two switches in series, their senses, and the wires they share with the firmware."""

import pytest

from emberbed_fw import record
from emberbed_sim.plant import switches
from emberbed_sim.plant.fault_catalogue import FaultEvent
from emberbed_sim.plant.happenings import NOTHING
from emberbed_sim.plant.switches import OUT_CONTACTOR, OUT_FAN, ZONE_BANK, SwitchGear

STUCK_ON = {"ssr_stuck_on": [FaultEvent("ssr_stuck_on", 0.0)]}


@pytest.mark.parametrize(
    "wire",
    [
        "OUT_CONTACTOR",
        "OUT_FAN",
        "PORT_CONTACTOR_CLOSED",
        "PORT_HEAT_CURRENT",
        "PORT_FAN_TURNS",
    ],
)
def test_the_wires_are_those_of_the_firmware(wire: str) -> None:
    assert getattr(switches, wire) == getattr(record, wire)


@pytest.mark.parametrize(
    ("driven_zones", "outputs", "stuck", "flags"),
    [
        (0, 0, False, 0),
        (ZONE_BANK, 0, False, 0),
        (0, OUT_CONTACTOR, False, record.PORT_CONTACTOR_CLOSED),
        (ZONE_BANK, OUT_CONTACTOR, False, record.PORT_CONTACTOR_CLOSED | record.PORT_HEAT_CURRENT),
        (0, 0, True, 0),
        (0, OUT_CONTACTOR, True, record.PORT_CONTACTOR_CLOSED | record.PORT_HEAT_CURRENT),
        (2, OUT_CONTACTOR, False, record.PORT_CONTACTOR_CLOSED),
        (0, OUT_FAN, False, record.PORT_FAN_TURNS),
    ],
)
def test_heat_needs_both_switches(driven_zones: int, outputs: int, stuck: bool, flags: int) -> None:
    gear = SwitchGear()
    (share,) = gear.step(driven_zones, outputs, STUCK_ON if stuck else NOTHING)
    assert gear.port_flags == flags
    assert (share > 0) == bool(flags & record.PORT_HEAT_CURRENT)


def test_the_contactor_is_30_ms_late_both_ways() -> None:
    # coil to contact, tens of ms: common practice, no source
    gear = SwitchGear()
    shares = [gear.step(ZONE_BANK, coil)[0] for coil in (0, OUT_CONTACTOR, OUT_CONTACTOR, 0, 0)]
    assert shares == pytest.approx([0.0, 0.7, 1.0, 0.3, 0.0])
    assert not gear.contactor_closed


@pytest.mark.parametrize("driven_zones", range(8))
def test_each_bit_is_the_ssr_of_its_own_zone(driven_zones: int) -> None:
    # three SSRs behind one contactor: the wiring that the drive bits stand for
    gear = SwitchGear(zones=3)
    gear.step(0, OUT_CONTACTOR)
    shares = gear.step(driven_zones, OUT_CONTACTOR)
    assert shares == [float(driven_zones >> zone & 1) for zone in range(3)]
    assert gear.ssr_conducts == bool(driven_zones)
    assert bool(gear.port_flags & record.PORT_HEAT_CURRENT) == bool(driven_zones)
    assert gear.step(driven_zones, 0) == pytest.approx([0.3 * share for share in shares])
    stuck = gear.step(0, OUT_CONTACTOR, STUCK_ON)
    assert stuck == [pytest.approx(0.7), 0.0, 0.0]
