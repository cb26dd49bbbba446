"""Rules of the check: each acts beyond its limit and stays quiet inside it."""

import pytest

from emberbed.profiles.check import Finding, check_profile, has_errors
from emberbed.profiles.energy import loss_w, power_needed_w
from emberbed.profiles.model import Board
from tests.host.profiles.profile_texts import (
    CEILINGS_CDEG,
    GOOD,
    HOLD,
    NAMES,
    WAIT,
    changed,
    line_of,
    read,
)


def found(text: str, **device) -> list[Finding]:
    """Return what is found beside the summary note."""
    return check_profile(read(text), **device)[:-1]


def only(text: str, **device) -> Finding:
    (finding,) = found(text, **device)
    return finding


def test_a_right_profile_has_nothing_but_its_summary():
    findings = check_profile(read(GOOD), NAMES, CEILINGS_CDEG, 1000)
    assert [finding.severity for finding in findings] == ["note"]
    # by hand: 68 °C at 0.6 °C/s, 120 s, 52 °C at 0.4 °C/s are 363 s
    said = (
        "heating takes about 6 min besides the waits, the peak is 140 °C,"
        " and changes at the bench reach 140 °C at most;"
        " held against SAC305, FR-4 Tg 150, an unknown flux and J-STD-020D, its heat dose is less"
        " than 0.1% of what the laminate lasts at 260 °C: figures of a book, which know nothing of"
        " this very board"
    )
    assert findings[0].sentence == f"p.toml: {said}"
    assert not has_errors(findings)


# old text, new text, severity, what the sentence must hold
RULES = [
    # 10 degC below Tg: rework training rule of thumb (quoted in a repair forum)
    ("to_c = 140", "to_c = 140.1", "warning", ["140 °C advised", "about 10 °C below Tg"]),
    ("to_c = 140", "to_c = 150.1", "warning", ["above the glass transition", "140 °C or below"]),
    # 190 degF are 88 degC, a dry-out; 151 degF would be 66 degC, which nobody asks for
    ("to_c = 140", "to_c = 190", "warning", ["140 °C or below, and if it is Fahrenheit, write 88"]),
    # a dry-out lasts minutes: common practice, no source
    ("for_s = 120", "for_s = 3", "warning", ["a dry-out of 3 s", "write 60 or more"]),
    # 0.6 to 1 degC/s: common practice, no source
    ("rate_c_per_s = 0.6", "rate_c_per_s = 1.01", "warning", ["1.01 °C/s", "write 1 or less"]),
    # cooling below 2 degC/s: a chip maker's BGA rework sheet
    ("fastest_c_per_s = 2", "fastest_c_per_s = 2.1", "warning", ["2.1 °C/s", "write 2 or less"]),
    # tools below 50 degC: common practice, no source
    ("below_c = 50", "below_c = 51", "warning", ["51 °C", "too hot to handle"]),
    # flux at 85 to 90 degC: common practice, no source
    ("to_c = 88", "to_c = 84.9", "note", ["flux is called for at 84.9 °C"]),
    ("to_c = 88", "to_c = 90.1", "note", ["flux is called for at 90.1 °C"]),
    # longest wait 20 min: common practice, no source
    ("longest_s = 300", "longest_s = 1201", "warning", ["20 min", "write 1200 or less"]),
    # a board of 240 g is no board of 20 x 20 mm: 600 kg per square metre
    ("length_mm = 180, width_mm = 120", "length_mm = 20, width_mm = 20", "warning", ["weigh"]),
    ("for_s = 120", "for_s = 120\nlongest_s = 119", "error", ["needs 120 s", "write 180"]),
    ("[sensors]", "ceiling_c = 139\n[sensors]", "error", ["below the peak of 140 °C"]),
    ("[sensors]", "ceiling_c = 141\n[sensors]", "warning", ["141 °C", "140 °C advised"]),
    ("[sensors]", "ceiling_c = 151\n[sensors]", "warning", ["151 °C is above the glass"]),
    # the words of the prompt are all that a wait knows of the hot air
    ("Apply flux", "Apply flux, then hot air", "note", ['write kind = "hot_air"']),
    # one sensor can lift unseen: two are recommended, common practice, no source
    ('edge = "edge"\n', "", "note", ["one sensor alone", "two are recommended"]),
    (
        "board = { mass_g = 240, length_mm = 180, width_mm = 120 }\n",
        "",
        "note",
        ["nothing is known of the board", "board = { mass_g"],
    ),
]
NO_LINE = ["nothing is known of the board"]  # where nothing stands, nothing can be pointed at


@pytest.mark.parametrize(("old", "new", "severity", "parts"), RULES)
def test_a_rule_acts_and_says_where(old, new, severity, parts):
    text = changed(old, new)
    finding = only(text)
    assert finding.severity == severity
    assert (finding.line is None) == any(part in NO_LINE for part in parts)
    assert finding.sentence.startswith(f"p.toml:{finding.line}: " if finding.line else "p.toml: ")
    for part in parts:
        assert part in finding.sentence
    if finding.stage is not None:
        assert f": stage {finding.stage} (" in finding.sentence


QUIET = [
    ("to_c = 140", "to_c = 139"),
    ("rate_c_per_s = 0.6", "rate_c_per_s = 1"),
    ("fastest_c_per_s = 2", "fastest_c_per_s = 1.9"),
    ("to_c = 88", "to_c = 85"),
    ("to_c = 88", "to_c = 90"),
    ("longest_s = 300", "longest_s = 1200"),
    ("for_s = 120", "for_s = 60"),
    (HOLD, 2 * HOLD.replace("for_s = 120", "for_s = 30")),
    ("for_s = 120", "for_s = 120\nlongest_s = 120"),
    (WAIT, WAIT.replace("Apply flux", "Fit the nozzle")),
    ("[sensors]", "ceiling_c = 140\n[sensors]"),
]


@pytest.mark.parametrize(("old", "new"), QUIET)
def test_a_rule_stays_quiet_inside_its_limit(old, new):
    assert found(changed(old, new)) == []


def test_the_line_is_that_of_the_key():
    text = changed("to_c = 140", "to_c = 160")
    assert only(text).line == line_of(text, "to_c = 160")
    assert only(text).stage == 4


def test_a_high_laminate_does_not_lift_the_support_soak():
    # support soak min(150, Tg - 10): common practice, no source
    text = changed('"FR-4 Tg 150"', '"FR-4 Tg 170"')
    assert found(text.replace("to_c = 140", "to_c = 150")) == []
    finding = only(text.replace("to_c = 140", "to_c = 151"))
    assert finding.severity == "warning" and "support soak" in finding.sentence


def test_a_low_melting_solder_is_not_reflowed_from_below():
    # Sn42Bi58 melts at 138 degC (alloy list sciencemadness.org tid=6224)
    text = changed('"SAC305"', '"Sn42Bi58"')
    melts = only(text.replace("to_c = 140", "to_c = 138"))
    assert melts.severity == "warning" and "melts Sn42Bi58" in melts.sentence
    low, flux = found(text.replace("to_c = 140", "to_c = 128.1"))
    assert flux.severity == "note" and flux.name.startswith("flux")  # an unknown flux: from 130
    assert low.severity == "warning" and "solidus of Sn42Bi58 (138 °C)" in low.sentence
    assert [one.name for one in found(text.replace("to_c = 140", "to_c = 128"))] == [flux.name]


def test_a_hot_stage_without_dry_out_is_noted():
    finding = only(GOOD.replace(HOLD, "").replace("Apply flux", "Fit the nozzle"))
    assert finding.severity == "note" and "no dry-out" in finding.sentence
    assert finding.stage == 3


def test_no_fahrenheit_is_seen_where_it_makes_no_sense():
    assert "Fahrenheit" not in only(changed("to_c = 140", "to_c = 151")).sentence


def test_a_run_over_a_day_is_refused():
    text = changed("for_s = 120", "for_s = 80000\nlongest_s = 80000")
    finding = only(text)
    assert finding.severity == "error" and "at most 24.0 h" in finding.sentence
    assert found(changed("for_s = 120", "for_s = 50000")) == []  # a long bake is an ordinary hold


def test_cooling_from_below_its_own_end_is_refused():
    text = changed("to_c = 140", "to_c = 45").replace("to_c = 88", "to_c = 40")
    errors = [finding for finding in found(text) if finding.severity == "error"]
    assert len(errors) == 1 and "over before it begins" in errors[0].sentence


def test_sensors_must_be_channels_of_the_device():
    finding = only(GOOD, channel_names=["top_near_chips", "edge"])
    assert finding.severity == "error"
    assert 'no channel "top_near_chip"; did you mean "top_near_chips"?' in finding.sentence
    assert finding.line == line_of(GOOD, "top_near_chip")


def test_ceilings_of_the_device():
    low = only(GOOD, channel_names=NAMES, ceilings_cdeg=[13900, 20000])
    assert low.severity == "error" and "allows 139 °C" in low.sentence
    tight = only(GOOD, channel_names=NAMES, ceilings_cdeg=[14400, 20000])
    assert tight.severity == "warning" and "leaves less than 5 °C" in tight.sentence
    assert found(GOOD, channel_names=NAMES, ceilings_cdeg=[14500, 14500]) == []


def test_losses_of_a_bare_board():
    # 0.2 m square at 150 degC in 25 degC air loses 168.9 W, calculated from McAdams' correlations
    # and 0.9 emissivity; a linear rule is good to a few per cent there and to a fifth at 100 degC
    board = Board(mass_g=100, length_mm=200, width_mm=200)
    assert loss_w(board, 150) == pytest.approx(168.9, rel=0.02)
    assert loss_w(board, 100) == pytest.approx(84.8, rel=0.2)
    assert loss_w(board, 20) == 0


def test_a_weak_heater_is_told_with_the_rate_it_can_do():
    # by hand: 0.24 kg x 1100 J/(kg K) x 0.4 = 105.6 W, and 0.0216 m2 x 4200 x 115/125 = 83.5 W
    board = Board(mass_g=240, length_mm=180, width_mm=120)
    assert power_needed_w(board, 140, 0.4) == pytest.approx(189.1, abs=0.1)
    assert found(GOOD, heater_watts=1000, power_cap=0.21) == []
    slow_start = changed("rate_c_per_s = 0.6", "rate_c_per_s = 0.5")
    (finding,) = found(slow_start, heater_watts=1000, power_cap=0.188)
    assert finding.severity == "warning" and finding.stage == 4
    assert "about 189 W" in finding.sentence and "188 W at most" in finding.sentence
    assert "write 0.39 or less" in finding.sentence
    hopeless = found(GOOD, heater_watts=100, power_cap=0.5)[0]
    assert hopeless.severity == "error" and "never gets there" in hopeless.sentence
    assert "choose a lower temperature" in hopeless.sentence


def test_the_worst_comes_first():
    text = changed("for_s = 120", "for_s = 120\nlongest_s = 119").replace("= 50", "= 60")
    assert [finding.severity for finding in found(text)] == ["error", "warning"]


def test_a_falling_ramp_needs_no_power():
    text = GOOD.replace("to_c = 140", "to_c = 60").replace("rate_c_per_s = 0.4", "rate_c_per_s = 1")
    # 85 degC needs 202 W on the way up; 60 degC at 1 degC/s would need 289 W, but it is lower
    findings = found(text, heater_watts=205, power_cap=1.0)
    assert ["flux is called for" in one.sentence for one in findings] == [True]
