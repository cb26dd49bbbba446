"""Two switches in series, their senses, and the wires they share with the firmware."""

import pytest

from emberbed_fw import record
from emberbed_sim.plant import switches
from emberbed_sim.plant.switches import OUT_CONTACTOR, OUT_FAN, ZONE_BANK, SwitchGear


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
    share = gear.step(driven_zones, outputs, stuck)
    assert gear.port_flags == flags
    assert (share > 0) == bool(flags & record.PORT_HEAT_CURRENT)


def test_the_contactor_is_30_ms_late_both_ways() -> None:
    # coil to contact, tens of ms: common practice, no source
    gear = SwitchGear()
    shares = [gear.step(ZONE_BANK, coil) for coil in (0, OUT_CONTACTOR, OUT_CONTACTOR, 0, 0)]
    assert shares == pytest.approx([0.0, 0.7, 1.0, 0.3, 0.0])
    assert not gear.contactor_closed
