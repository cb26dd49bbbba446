"""Candidates for an identified heater, and what `tune` makes of them."""

import json
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest

from emberbed.heater.default_gains import Gains
from emberbed.heater.device_gains import held
from emberbed.heater.gain_designs import DESIGNS, MORE_DESIGNS
from emberbed.heater.heater_file import read_heater
from emberbed.heater.margins import Margins
from emberbed.heater.tune import (
    MOST_MS,
    NOT_TUNED,
    Candidate,
    CannotTune,
    Tuning,
    candidates,
    tune,
    working_temperatures,
    worst_margins,
)
from tests.host.heater.heater_texts import HEAD, heater, heater_text


@pytest.fixture(scope="module")
def tuning():
    return tune(heater())


def by_rule(tuning):
    return {one.rule: one for one in tuning.candidates}


def test_every_rule_is_there(tuning):
    names = [NOT_TUNED, *(design.name for design in DESIGNS)]
    assert [one.rule for one in tuning.candidates] == names
    assert [one.rule for one in candidates(heater())] == names
    assert tuning.working_c == (60.0, 120.0, 150.0)
    assert by_rule(tuning)[NOT_TUNED].gains == held(Gains())


def test_figures_are_the_worst_of_all_temperatures(tuning):
    for n, one in enumerate(tuning.candidates):
        assert one.gains == held(one.gains)
        assert one.overshoot_c == max(trial.overshoot_c[n] for trial in tuning.trials)
        assert one.iae_c_s == max(trial.iae_c_s[n] for trial in tuning.trials)
        each = [worst_margins([process], one.gains) for process in tuning.processes]
        assert one.margins.ms == max(single.ms for single in each)
        assert one.margins.gain == min(single.gain for single in each)
        assert one.margins.stable == all(single.stable for single in each)


def test_the_chosen_one_is_calm_and_better_than_no_tuning(tuning):
    best, untuned = tuning.best, by_rule(tuning)[NOT_TUNED]
    assert best.offered and best.refusal is None
    assert best.margins.ms <= MOST_MS
    assert best.cost_c_s < untuned.cost_c_s


def test_published_characters(tuning):
    # Z-N is known for too little margin, SIMC and AMIGO for enough
    found = by_rule(tuning)
    assert found["Ziegler-Nichols PID"].margins.ms > 2
    assert found["SIMC PID"].margins.ms <= MOST_MS
    assert found["SIMC PI"].margins.ms <= MOST_MS


def made(rule, ms, iae, overshoot=0.0, refusal=None, offered=True):
    margin = Margins(ms, 3.0, 50.0, True)
    return Candidate(rule, Gains(), margin, overshoot, iae, refusal, offered)


@pytest.mark.parametrize(
    ("listed", "chosen"),
    [
        ([made("a", 1.5, 900.0), made("b", 1.6, 800.0)], "b"),
        ([made("a", 1.5, 900.0), made("b", 1.6, 800.0, overshoot=2.0)], "a"),  # 600 more
        ([made("a", 1.5, 900.0), made("b", 1.8, 100.0)], "a"),
        ([made("a", 1.5, 900.0), made("b", 1.6, 100.0, refusal="too large")], "a"),
        ([made("a", 1.5, 900.0), made("b", 1.6, 100.0, offered=False)], "a"),
        ([made("a", 2.5, 900.0), made("b", 2.0, 1000.0)], "b"),
    ],
)
def test_choice(listed, chosen):
    assert Tuning((120.0,), (), tuple(listed), ()).best.rule == chosen


def test_nothing_to_choose():
    with pytest.raises(CannotTune, match="no rule gives gains that the device takes"):
        _ = Tuning((120.0,), (), (made("a", 1.5, 9.0, refusal="too large"),), ()).best


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [(21.0, 170.0, (60, 120, 150)), (86.0, 130.0, (120,)), (100.0, 110.0, (105,))],
)
def test_working_temperatures(low, high, expected):
    one = heater()
    within = one.model_copy(update={"fit": one.fit.model_copy(
        update={"lowest_c": low, "highest_c": high})})  # fmt: skip
    assert working_temperatures(within) == expected


def test_a_heater_that_is_too_weak():
    with pytest.raises(CannotTune, match="60 and 120 and 150 °C cannot be worked at"):
        tune(heater(surroundings_rise_k=1.0, emitter_share=0.02, board_lag_s=30.0))


# the command


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "heater.toml"
    path.write_text("# ours\n" + heater_text())
    return path


def test_command(heater_command, file, tuning):
    said = heater_command("tune", file, "--no-refine", "--picture", "trial.svg")
    assert said.exit_code == 0 and said.stderr == ""
    best = tuning.best
    assert f"{best.rule} *" in said.stdout
    for design in DESIGNS:
        assert design.name in said.stdout
    assert f"kp_q8 = {best.gains.kp_q8()}" in said.stdout
    assert file.read_text().startswith("# ours\nformat = 1\n")
    written = read_heater(file).gains
    assert written.rule == best.rule
    left = written.gains()
    assert (left.kp_q8(), left.ki_q14(), left.kd_q4()) == (
        best.gains.kp_q8(), best.gains.ki_q14(), best.gains.kd_q4(),
    )  # fmt: skip
    picture = ElementTree.parse(file.parent / "trial.svg").getroot()
    assert picture.tag.endswith("svg")
    again = heater_command("tune", file, "--no-refine")
    assert again.exit_code == 0  # gains in the file do no harm


def test_command_as_json(heater_command, file, tuning):
    before = file.read_text()
    said = json.loads(
        heater_command("tune", file, "--no-refine", "--more", "--json", "--out", "new.toml").stdout
    )
    assert file.read_text() == before  # it was asked for another file
    assert read_heater(file.parent / "new.toml").gains.rule == said["chosen"]
    assert len(said["candidates"]) == 1 + len(DESIGNS) + len(MORE_DESIGNS)
    for one, expected in zip(said["candidates"], tuning.candidates, strict=False):
        assert one["rule"] == expected.rule
        assert one["stable"] == expected.margins.stable
        assert (one["ms"] is None) == np.isinf(expected.margins.ms)


def test_a_poor_fit_is_told(heater_command, file):
    file.write_text(heater_text(HEAD.replace("99.5", "72.5")))
    assert "fits its own data by only 72 %" in heater_command("tune", file, "--no-refine").stdout


def test_bad_input(refused, file, tmp_path):
    assert "cannot be read" in refused("tune", "nowhere.toml")
    told = refused("tune", file, "--out", tmp_path)
    assert told.endswith("(it is a folder): name a file with --out")
    assert "there is no such folder" in refused("tune", file, "--picture", "no/where.svg")
    assert "are for refining" in refused("tune", file, "--no-refine", "--quick")
    file.write_text(heater_text().replace("rows_", "row_").replace("rms_c = 0.1\n", ""))
    assert "the key fit.rms_c is missing" in refused("tune", file)
    file.write_text(heater_text(surroundings_rise_k=1.0, emitter_share=0.02, board_lag_s=30.0))
    assert "cannot be worked at" in refused("tune", file)
