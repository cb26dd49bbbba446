"""The materials book against published figures."""

import pytest

from emberbed.materials.book import (
    UNKNOWN,
    UnknownMaterial,
    alloys,
    find_alloy,
    find_laminate,
    laminates,
)


def test_melting_ranges_as_published():
    # alloy list sciencemadness.org tid=6224 and alasir.com/reference/solder_alloys
    published = {"SAC305": (217, 220), "SAC105": (215, 227), "Sn42Bi57Ag1": (137, 139)}
    for name, (solidus_c, liquidus_c) in published.items():
        alloy = find_alloy(name)
        assert (alloy.solidus_c, alloy.liquidus_c) == (solidus_c, liquidus_c)


def test_eutectics_melt_at_one_temperature_and_in_the_known_order():
    # the trade's order: tin-bismuth, tin-lead, SAC305, tin-copper (same list)
    order = [find_alloy(name) for name in ("Sn42Bi58", "Sn63Pb37", "SAC305", "Sn99.3Cu0.7")]
    assert [alloy.solidus_c for alloy in order] == [138, 183, 217, 227]
    assert find_alloy("Sn63Pb37").liquidus_c == 183


def test_every_alloy_turns_liquid_after_it_softens_and_names_its_source():
    for alloy in alloys().values():
        assert 100 < alloy.solidus_c <= alloy.liquidus_c < 260
        assert alloy.source


def test_laminates_carry_the_figure_of_their_name():
    # IPC-4101: standard grade at least 130, middle 150, high 170
    assert {find_laminate(f"FR-4 Tg {tg_c}").tg_c for tg_c in (130, 150, 170)} == {130, 150, 170}
    for name, laminate in laminates().items():
        assert name == UNKNOWN or name.endswith(f"Tg {laminate.tg_c}")
        assert laminate.source


def test_the_unknown_is_judged_with_care():
    # tin-bismuth melts lowest of the common solders (alloy list sciencemadness.org tid=6224), the
    # poorest SAC is liquid last (alasir.com/reference/solder_alloys); indium-tin is no common one
    common = [alloy for name, alloy in alloys().items() if not name.startswith("In")]
    unknown = find_alloy(UNKNOWN)
    assert unknown.solidus_c == min(alloy.solidus_c for alloy in common) == 137
    assert unknown.liquidus_c == max(alloy.liquidus_c for alloy in common) == 228
    assert unknown.leaded
    # IPC-4101 /21: the standard grade is at least 130
    assert find_laminate(UNKNOWN).tg_c == min(one.tg_c for one in laminates().values()) == 130


def test_leaded_alloys_are_those_with_lead_in_their_names():
    for name, alloy in alloys().items():
        assert name == UNKNOWN or alloy.leaded == ("Pb" in name)


def test_the_unknown_is_spoken_as_such():
    assert find_alloy(UNKNOWN).spoken() == "an unknown alloy"
    assert find_laminate(UNKNOWN).spoken() == "an unknown laminate"
    assert find_alloy("SAC305").spoken() == "SAC305"


def test_a_misspelt_name_offers_the_near_one():
    with pytest.raises(UnknownMaterial, match='alloy "sac305" .* did you mean "SAC305"'):
        find_alloy("sac305")
    with pytest.raises(UnknownMaterial, match='did you mean "FR-4 Tg 150"'):
        find_laminate("FR4 Tg150")


def test_a_name_like_no_other_gets_the_whole_list():
    with pytest.raises(UnknownMaterial, match="the laminates in it are FR-4 Tg 130, FR-4 Tg 135"):
        find_laminate("????")
