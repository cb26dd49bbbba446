"""Several zones of one heater: what steers each, their shares, the socket, and one zone as ever."""

import pytest

from emberbed.profiles.check import check_profile
from emberbed.profiles.compile import PlanRefused, compile_plan, decode_plan
from emberbed.profiles.shipped import shipped_names
from emberbed.profiles.zones import Coupling, Zones
from emberbed_fw.units import FULL_POWER_Q15, NONE
from tests.host.profiles.profile_texts import CEILINGS_CDEG, GOOD, NAMES, POWER, changed, read
from tests.host.profiles.test_reader_mistakes import mistakes

CONTROL, EDGE = "top_near_chip", "edge"
COUPLING = Coupling((CONTROL, EDGE), ((1.2, 0.6), (0.5, 1.1)))
TWO = Zones((300, 700), 2300, COUPLING)
ZONED = changed('edge = "edge"', 'edge = { role = "edge", zone = 1 }')
STEP_TEST = GOOD.split("[[stages]]")[0] + POWER + '[[stages]]\nkind = "cool"\nbelow_c = 50\n'
STEP_TEST += "fastest_c_per_s = 2\n"


def plan_of(text: str = GOOD, zones: Zones | None = None, **more):
    given = {} if zones is None else {"zones": zones, "zone_w": zones.total_w, "socket_w": 2300}
    return compile_plan(read(text).model, NAMES, CEILINGS_CDEG, **given, **more)


def notes(zones: Zones, text: str = GOOD) -> list[tuple[str, str]]:
    found = check_profile(
        read(text), NAMES, CEILINGS_CDEG, zones.total_w, socket_watts=zones.socket_w, zones=zones
    )
    return [(one.severity, one.sentence) for one in found if "zone" in one.sentence]


@pytest.mark.parametrize("name", shipped_names())
def test_the_plan_of_a_heater_of_one_zone_has_nothing_in_its_other_zones(name):
    from emberbed.bench.prepare import load_profile

    profile = load_profile(name).model
    names = [*profile.sensors, *[""] * (8 - len(profile.sensors))]
    more = dict(zone_w=1000, socket_w=2300)
    plan = compile_plan(profile, names, [26000] * 8, **more)
    assert plan == compile_plan(profile, names, [26000] * 8, **more, zones=Zones((1000,), 2300))
    opened = decode_plan(plan)
    for zone in (1, 2, 3):
        assert opened.header[f"control{zone}"] == NONE
        for field in ("cap{}_q15", "kp{}_q8", "ki{}_q14", "kd{}_q4", "weight{}_q8"):
            assert opened.header[field.format(zone)] == 0
        assert all(knot[f"feedforward{zone}_q15"] == 0 for knot in opened.knots)


def test_shares_go_into_gains_and_power():
    one, two = decode_plan(plan_of(zone_w=1000, socket_w=2300)), decode_plan(plan_of(GOOD, TWO))
    sensors, shares = TWO.steering(read(GOOD).model)
    assert sensors == (CONTROL, EDGE)
    assert shares == pytest.approx((1.8 * 0.5 / 1.02, 1.8 * 0.7 / 1.02), abs=1e-3)  # Cramer's rule
    for zone, share in enumerate(shares):
        assert two.header[f"control{zone}"] == NAMES.index(sensors[zone])
        for field in ("cap{}_q15", "kp{}_q8", "kd{}_q4"):
            expected = share * one.header[field.format(0)]
            assert two.header[field.format(zone)] == pytest.approx(expected, rel=2e-3)
    assert two.stages == one.stages


def test_a_profile_may_say_what_steers_a_zone():
    for zones in (TWO, Zones((300, 700), 2300)):
        assert zones.steering(read(ZONED).model).sensors == (CONTROL, EDGE)


def test_without_a_word_all_zones_follow_the_control_sensor_alike():
    unknown = Zones((300, 700), 2300)
    assert unknown.steering(read(GOOD).model) == ((CONTROL, CONTROL), (1.0, 1.0))
    header = decode_plan(plan_of(GOOD, unknown)).header
    assert header["control1"] == header["control0"]
    assert header["kp1_q8"] == header["kp0_q8"]


def test_planned_power_is_shared_out():
    from emberbed.profiles.planned import Planned
    from emberbed.profiles.stage_rows import Knot
    from emberbed.profiles.timing import spans

    def planner(profile, _socket):
        first = spans(profile)[0]
        courses = {0: [Knot(0, 2500, 8000), Knot(first.planned_ticks, first.to_cdeg, 12000)]}
        return Planned(spans(profile), courses)

    knots = decode_plan(plan_of(GOOD, TWO, planner=planner)).knots[:2]
    shares = TWO.steering(read(GOOD).model).shares
    for knot, whole in zip(knots, (8000, 12000), strict=True):
        powers = knot["feedforward0_q15"], knot["feedforward1_q15"]
        assert powers == pytest.approx([whole * share for share in shares], abs=1)


@pytest.mark.parametrize(
    ("watts", "socket_w", "at_once"),
    [((300, 700), 1000, 2), ((300, 700), 999, 1), ((400, 400, 400), 800, 2), ((1000,), 0, 0),
     ((800, 300, 300), 1100, 2), ((800, 700, 100), 1499, 1)],
)  # fmt: skip
def test_how_many_zones_may_be_on_together(watts, socket_w, at_once):
    assert Zones(watts, socket_w).at_once == at_once


@pytest.mark.parametrize("socket_w", [700.0, 999.0, 1000.0, 1150.0])
def test_caps_keep_the_shares_and_what_taking_turns_can_give(socket_w):
    zones = Zones((300, 700), socket_w, COUPLING)
    header = decode_plan(plan_of(GOOD, zones, power_cap=1.0)).header
    caps = [header[f"cap{zone}_q15"] / FULL_POWER_Q15 for zone in (0, 1)]
    shares = zones.steering(read(GOOD).model).shares
    assert caps[1] / caps[0] == pytest.approx(shares[1] / shares[0], rel=1e-3)
    assert max(caps) <= 1 and sum(caps) <= zones.at_once + 1e-3
    assert 300 * caps[0] + 700 * caps[1] <= socket_w + 0.1


def test_a_power_stage_of_one_zone():
    text = STEP_TEST.replace("limit_c = 110\n", "limit_c = 110\nzone = 1\n")
    plan = decode_plan(plan_of(text, TWO))
    assert plan.stages[0]["power_q15"] == 0
    assert [(k["feedforward0_q15"], k["feedforward1_q15"]) for k in plan.knots] == [(0, 16384)] * 2


REFUSED = [
    (ZONED, Zones((1000,), 2300), "one zone, number 0"),
    (ZONED.replace("zone = 1", "zone = 3"), TWO, "zones 0 to 1"),
    (GOOD, Zones((300, 700)), "socket_watts"),
    (GOOD, Zones((300, 1400), 1380), "zone 1 alone takes 1400 W and the socket gives 1380 W"),
]


@pytest.mark.parametrize(("text", "zones", "said"), REFUSED)
def test_what_a_heater_cannot_do_is_an_error_and_no_plan(text, zones, said):
    with pytest.raises(PlanRefused, match=said.replace("(", r"\(")):
        plan_of(text, zones)
    assert [sev for sev, sentence in notes(zones, text) if said in sentence] == ["error"]


def test_check_tells_what_the_zones_take_and_follow():
    budget, steered = notes(TWO)
    assert budget[0] == steered[0] == "note"
    assert "300 + 700 W = 1000 W together, and the socket gives 2300 W" in budget[1]
    assert "zone 0 follows top_near_chip with 88%, zone 1 follows edge with 124%" in steered[1]


def test_check_warns_where_zones_take_turns():
    """900 W bear either zone and not both: half the time each, so 500 W of equal shares."""
    budget, steered = notes(Zones((300, 700), 900))
    assert budget[0] == "warning" and "more than the 900 W of the socket" in budget[1]
    assert "1 of 2 at a time" in budget[1] and "500 W on average" in budget[1]
    assert "emberbed identify" in steered[1]


SENSOR = 'edge = "edge"'
BAD = [
    ('edge = { role = "edge", zone = 4 }', "zone = 4 is outside 0 to 3"),
    ('edge = { role = "edge", zone = 1.5 }', "zone = 1.5 is no whole number"),
    ('edge = { role = "edge", zone = 0 }', "the control sensor steers zone 0"),
    ('edge = { role = "chip_top", zone = 1 }', "steers no zone"),
    (
        'edge = { role = "edge", zone = 1 }\nrim = { role = "edge", zone = 1 }',
        'zone 1 follows "edge" already',
    ),
]


@pytest.mark.parametrize(("written", "said"), BAD)
def test_a_zone_that_is_written_wrong(written, said):
    (told,) = mistakes(changed(SENSOR, written))
    assert said in told
