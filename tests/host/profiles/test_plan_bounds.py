"""What a plan allows: the highest setpoint a person may reach, each sensor's limit, the socket."""

import pytest

from emberbed.profiles.compile import PlanRefused, compile_plan, decode_plan
from emberbed_fw.units import NONE
from tests.host.profiles.profile_texts import (
    AIR,
    CEILINGS_CDEG,
    FULL,
    FULL_NAMES,
    NAMES,
    WITH_AIR,
    changed,
    read,
)


def compiled(text: str, **more) -> bytes:
    return compile_plan(read(text).model, NAMES, CEILINGS_CDEG, **more)


CEILINGS = [
    # alloy, laminate, peak, ceiling_c of the profile -> highest setpoint a person may reach
    ("SAC305", "FR-4 Tg 150", 130, None, 135),  # peak + 5
    ("SAC305", "FR-4 Tg 150", 137, None, 140),  # Tg - 10
    ("SAC305", "FR-4 Tg 170", 148, None, 150),  # support soak
    ("Sn42Bi58", "FR-4 Tg 150", 125, None, 128),  # solidus 138, less 10
    ("SAC305", "FR-4 Tg 150", 145, None, 145),  # never below the peak
    ("SAC305", "FR-4 Tg 150", 130, 131, 131),
    ("SAC305", "FR-4 Tg 150", 130, 148, 148),
]


@pytest.mark.parametrize(("alloy", "laminate", "peak", "asked", "most"), CEILINGS)
def test_how_far_a_person_may_go(alloy, laminate, peak, asked, most):
    text = changed('"SAC305"', f'"{alloy}"').replace("FR-4 Tg 150", laminate)
    text = text.replace("to_c = 140", f"to_c = {peak}")
    if asked is not None:
        text = text.replace("[sensors]", f"ceiling_c = {asked}\n[sensors]")
    header = decode_plan(compiled(text)).header
    assert (header["peak_cdeg"], header["most_setpoint_cdeg"]) == (peak * 100, most * 100)


def test_a_person_is_not_offered_what_the_device_takes_away():
    text = changed("to_c = 140", "to_c = 130")
    # 5 degC below the device's ceiling at the control sensor, but never below the peak
    for ceiling, most in ((20000, 13500), (13800, 13300), (13200, 13000)):
        plan = compile_plan(read(text).model, NAMES, [ceiling, 20000] + [0] * 6)
        assert decode_plan(plan).header["most_setpoint_cdeg"] == most


def test_sensors_go_to_their_channels_with_their_limits():
    text = changed('edge = "edge"', 'edge = "edge"\nrod = "emitter"\nchip = "chip_top"')
    text = text.replace("[[stages]]", 'left = { role = "neighbour", limit_c = 95 }\n[[stages]]', 1)
    names = ["left", "chip", "rod", "edge", "", "top_near_chip", "", ""]
    ceilings = [15000, 26000, 90000, 20000, 0, 20000, 0, 0]
    header = decode_plan(compile_plan(read(text).model, names, ceilings)).header
    assert [header[f"role{channel}"] for channel in range(8)] == [4, 3, 5, 2, 0, 1, 0, 0]
    limits = [header[f"limit{channel}_cdeg"] for channel in range(8)]
    # at most 20 degC above the peak of 140 degC and the device's own; for the emitter the latter;
    # the chip: 245 degC, lowest lead-free package rating of J-STD-020 table 4-2
    assert limits == [9500, 24500, 90000, 16000, 0, 16000, 0, 0]
    assert [header[f"pause{channel}_cdeg"] for channel in range(8)] == [8700] + [0] * 7
    assert header["control0"] == 5


def test_every_key_of_a_sensor_reaches_the_plan():
    plan = compile_plan(read(FULL).model, FULL_NAMES, [26000] * 3 + [90000, 26000, 26000, 0, 0])
    header = decode_plan(plan).header
    assert [header[f"role{channel}"] for channel in range(8)] == [1, 2, 3, 5, 4, 6, 0, 0]
    limits = [header[f"limit{channel}_cdeg"] for channel in range(6)]
    # edge and pair: 20 degC above the peak of 120 degC, more than an unknown solder's 137 degC
    assert limits == [20000, 14000, 23500, 24000, 11500, 14000]
    assert header["pause4_cdeg"] == 10500
    assert [header[f"partner{channel}"] for channel in range(8)] == [NONE] * 5 + [0, NONE, NONE]
    assert header["in_jet_channels"] == 0b100
    assert decode_plan(plan).stages[1]["needed_channels"] == 0b100010


def test_beside_hot_air_the_board_may_get_as_warm_as_solder_stays_solid():
    """Neighbours stay cool, so that they do not reflow: a chip maker's BGA rework sheet. SAC305 is
    solid below 217, Sn63Pb37 below 183, packages of its time stand 220 degC (J-STD-020)."""
    text = WITH_AIR.replace('edge = "edge"', 'edge = "edge"\nchip = { role = "chip_top" }')
    text = text.replace("[[stages]]", 'far = { role = "edge", in_jet = true }\n[[stages]]', 1)
    names = ["top_near_chip", "edge", "chip", "far", "", "", "", ""]
    for alloy, limits in (
        ("SAC305", [21700, 21700, 24500, 24500]),
        ("Sn63Pb37", [18300, 18300, 22000, 22000]),
        ("unknown", [15000, 15000, 22000, 22000]),
    ):
        changed_text = text.replace("SAC305", alloy).replace("to_c = 140", "to_c = 130")
        header = decode_plan(compile_plan(read(changed_text).model, names, [26000] * 8)).header
        assert [header[f"air_limit{channel}_cdeg"] for channel in range(4)] == limits
        # until the hot air is on, 20 degC above the peak for all but the chip itself
        before = [header[f"limit{channel}_cdeg"] for channel in range(4)]
        assert before == [15000, 15000, limits[2], 15000]


def test_a_device_that_allows_less_than_a_neighbour_still_pauses_before_it_trips():
    cell = 'cell = { role = "neighbour", limit_c = 100, pause_c = 95 }'
    text = changed('edge = "edge"', f'edge = "edge"\n{cell}')
    ceilings = [20000, 20000, 9000, 0, 0, 0, 0, 0]
    header = decode_plan(
        compile_plan(read(text).model, ["top_near_chip", "edge", "cell"] + [""] * 5, ceilings)
    ).header
    assert (header["limit2_cdeg"], header["pause2_cdeg"]) == (9000, 8999)


# socket W, heater W -> cap of the stages from the hot air on, by hand: (socket - 700) / heater,
# rounded down, at most 60 %
SOCKETS = [
    (2300, 3000, 0.5333),
    (1300, 1000, 0.6),
    (2500, 1000, 0.6),
    (701, 1000, 0.001),
    (0, 1000, None),
    (2300, 0, None),
]


@pytest.mark.parametrize(("socket_w", "zone_w", "share"), SOCKETS)
def test_the_tools_watts_come_off_the_socket_from_its_stage_on(socket_w, zone_w, share):
    text = WITH_AIR.replace(AIR, AIR + "tool_w = 700\n" + AIR)  # the tool stays plugged in
    data = compiled(text, socket_w=socket_w, zone_w=zone_w)
    caps = [row["cap_q15"] for row in decode_plan(data).stages]
    assert caps[:5] == [0] * 5
    assert len(set(caps[5:])) == 1 and len(caps) == 8
    assert caps[5] == pytest.approx((share or 0) * 32768, abs=2)
    if share:
        assert caps[5] * zone_w / 32768 <= socket_w - 700


def test_a_tool_that_leaves_the_heater_nothing_is_refused():
    text = WITH_AIR.replace(AIR, AIR + "tool_w = 700\n")
    with pytest.raises(PlanRefused, match="leaves the heater nothing"):
        compiled(text, socket_w=700, zone_w=1000)
    with pytest.raises(PlanRefused, match="leaves the heater nothing"):
        compiled(text, socket_w=600, zone_w=1000)


def test_a_control_in_the_jet_is_refused_by_the_firmware_too():
    text = WITH_AIR.replace('"control"', '{ role = "control", in_jet = true }')
    with pytest.raises(PlanRefused):
        compiled(text)
