"""Rules out of the materials book: each acts beyond its limit and stays quiet inside it."""

import pytest
from scipy.integrate import quad

from emberbed.materials.book import find_laminate
from emberbed.profiles.check import check_profile
from emberbed.profiles.heat_times import dose_min, planned_s, seconds_within, weight
from emberbed.profiles.timing import spans
from tests.host.profiles.profile_texts import (
    AIR,
    COOL,
    GOOD,
    HEAD,
    HOLD,
    RAMP,
    SOAK_HOLD,
    WAIT,
    WITH_AIR,
    changed,
    mistakes,
    read,
)

CHIP = "chip = { length_mm = 27, width_mm = 27, thickness_mm = 2.2 }\n[sensors]"


def named(text: str, rule: str):
    """Return what one rule finds."""
    return [one for one in check_profile(read(text)) if one.name.split(" at ")[0] == rule]


def hot(to_c: float, for_s: float, alloy: str = "SAC305", laminate: str = "FR-4 Tg 170") -> str:
    """A profile with flux, then a soak at `to_c`, then hot air."""
    head = HEAD.replace('"SAC305"', f'"{alloy}"').replace('"FR-4 Tg 150"', f'"{laminate}"')
    soak = f'[[stages]]\nkind = "ramp"\nto_c = {to_c}\nrate_c_per_s = 1\n'
    soak += f'[[stages]]\nkind = "hold"\nfor_s = {for_s}\n'
    return head + RAMP + HOLD + WAIT + soak + AIR + COOL


def test_seconds_in_a_window():
    # by hand: 88 to 160 degC at 1 degC/s, so 10 s above 150, and the hold
    found = spans(read(hot(160, 100)).model)
    assert seconds_within(found, 150, 200) == pytest.approx(110, abs=0.2)
    assert seconds_within(found, 0, 50) == pytest.approx(30 / 0.6, abs=0.2)
    assert planned_s(found) == pytest.approx(68 / 0.6 + 120 + 72 + 100, abs=0.3)


@pytest.mark.parametrize(
    ("standard", "for_s", "told"),
    # J-STD-020 table 5-2: 150 to 200 degC for up to 120 s in D (dtsheet.com/doc/1311855) and up to
    # 180 s in C (dtsheet.com/doc/1654354); the ramp adds 10 s to the hold
    [
        ("J-STD-020D", 109, False),
        ("J-STD-020D", 111, True),
        ("J-STD-020C", 111, False),
        ("J-STD-020C", 169, False),
        ("J-STD-020C", 171, True),
    ],
)
def test_the_soak_window_of_the_revision_chosen(standard, for_s, told):
    text = hot(160, for_s).replace("[sensors]", f'standard = "{standard}"\n[sensors]')
    found = named(text, "soak_window")
    assert [one.severity for one in found] == ["warning"] * told
    for one in found:
        assert standard in one.sentence and one.judged
        assert one.judged.limit == (120 if standard.endswith("D") else 180)
        assert one.judged.value == pytest.approx(for_s + 10, abs=0.3)


def test_the_soak_window_is_that_of_the_solder():
    # table 5-2, tin-lead: 100 to 150 degC for up to 120 s
    leaded = hot(130, 100, "Sn63Pb37")
    assert [one.severity for one in named(leaded, "soak_window")] == ["warning"]
    assert [one.severity for one in named(hot(130, 100, "unknown"), "soak_window")] == ["note"]
    assert named(hot(130, 100), "soak_window") == []
    assert named(hot(130, 80, "Sn63Pb37"), "soak_window") == []


def test_time_to_the_peak_is_told():
    # table 5-2: 8 min from 25 degC to the peak; here 113 + 120 + 72 + for_s
    (found,) = named(hot(160, 300), "to_peak")
    assert found.severity == "note" and found.judged and found.judged.limit == 480
    assert named(hot(160, 160), "to_peak") == []


def test_the_chip_is_rated_by_its_size():
    # table 4-2: 2.2 mm and 27 x 27 x 2.2 = 1604 mm3: 250 degC; unknown: the weakest, 245 degC
    sensor = 'edge = "edge"\nlid = { role = "chip_top", limit_c = 250 }\n'
    text = changed('edge = "edge"\n', sensor)
    (found,) = named(text, "package")
    assert (
        found.severity == "warning" and "the weakest package is rated for 245 °C" in found.sentence
    )
    assert named(text.replace("[sensors]", CHIP), "package") == []
    (hotter,) = named(text.replace("[sensors]", CHIP).replace("250", "251"), "package")
    assert "rated for 250 °C (J-STD-020D table 4-2" in hotter.sentence
    assert hotter.judged is not None and hotter.judged[:3] == (251, 250, "°C")


def test_a_neighbour_is_held_against_what_it_is():
    # as printed on its body; electrolytics for 85 and 105 degC, from memory
    sensor = (
        'edge = "edge"\ncap = { role = "neighbour", limit_c = 125, part = "electrolytic 105" }\n'
    )
    text = changed('edge = "edge"\n', sensor)
    (found,) = named(text, "neighbours")
    assert "electrolytic 105 the book says 105 °C" in found.sentence
    assert named(text.replace("125,", "105,"), "neighbours") == []


def test_flux_is_used_up_by_a_long_soak():
    # 3 to 4 min above 150 degC: makers' practice, from memory; an unknown flux 180 s
    assert named(hot(160, 169), "flux") == []
    (found,) = named(hot(160, 171), "flux")
    assert found.severity == "warning" and "uses up an unknown flux" in found.sentence
    rosin = hot(160, 171).replace("[sensors]", 'flux = "rosin"\n[sensors]')
    assert named(rosin, "flux") == [] and len(named(rosin.replace("171", "231"), "flux")) == 1
    late = HEAD + RAMP + HOLD + hot(160, 171).split(WAIT)[1].replace(AIR, WAIT + AIR)
    assert named(late, "flux") == []  # applied after the soak


def test_flux_that_is_never_hot_enough_is_told():
    # what was heated only partly stays active (indium.com/blog/no-clean-flux-1.php)
    cool = changed("to_c = 140", "to_c = 119").replace("[sensors]", 'flux = "rosin"\n[sensors]')
    (found,) = named(cool, "flux")
    assert found.severity == "warning" and "no hotter than 119 °C" in found.sentence
    assert named(cool.replace("to_c = 119", "to_c = 120"), "flux") == []
    assert [one.severity for one in named(changed("to_c = 140", "to_c = 119"), "flux")] == ["note"]


def test_the_weight_of_heat_goes_through_both_published_points():
    # middle grade: 50 min at 260 and 23 min at 288 degC, internationalcircuits.com/materials
    assert weight(260) == 1
    assert 50 / weight(288) == pytest.approx(23)
    assert weight(149.9) == 0


def test_the_dose_is_the_integral():
    text = hot(170, 120)
    found = spans(read(text).model)
    ramp_s, _error = quad(lambda s: weight(150 + s), 0, 20)
    by_hand = ramp_s + 120 * weight(170) + 240 * weight(235)
    assert dose_min(found) == pytest.approx(by_hand / 60, rel=0.01)


def test_the_dose_of_a_run_stays_a_third_of_what_the_laminate_lasts():
    # T260 10 min for the standard grade (internationalcircuits.com/materials), three passes
    rated = find_laminate("FR-4 Tg 135").t260
    assert rated and rated.value == 10
    long = WITH_AIR.replace("FR-4 Tg 150", "FR-4 Tg 135").replace("to_c = 140", "to_c = 125")
    assert named(long, "dose") == []
    (found,) = named(long.replace(AIR, AIR + "longest_s = 480\n"), "dose")
    assert found.severity == "warning" and found.judged and found.judged.value > 1 / 3
    assert named(long.replace("135", "170").replace(AIR, AIR + "longest_s = 480\n"), "dose") == []


def test_every_warning_has_its_number_limit_and_source():
    text = hot(168, 400).replace("rate_c_per_s = 1\n", "rate_c_per_s = 1.5\n")
    warnings = [one for one in check_profile(read(text)) if one.severity == "warning"]
    assert {one.name.split(" at ")[0] for one in warnings} >= {"rates", "flux", "soak_window"}
    for one in warnings:
        told = one.as_json()
        assert told["source"] and told["unit"] and told["value"] != told["limit"]


def test_never_a_bare_yes():
    (said,) = check_profile(read(GOOD))
    assert "held against SAC305, FR-4 Tg 150, an unknown flux and J-STD-020D" in said.sentence
    assert "know nothing of this very board" in said.sentence


def test_the_standard_is_one_of_those_known():
    (sentence,) = mistakes(changed("[sensors]", 'standard = "J-STD-020B"\n[sensors]'))
    assert 'standard does not know "J-STD-020B"; did you mean' in sentence


def test_soak_hold_is_short_enough():
    assert named(HEAD + RAMP + HOLD + WAIT + SOAK_HOLD + AIR + COOL, "soak_window") == []
