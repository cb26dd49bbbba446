"""The search for better gains, on one short job so that it is quick."""

import json
from dataclasses import replace

import pytest

from emberbed.heater import firmware_trial, tune_refined
from emberbed.heater.device_gains import held, refusal
from emberbed.heater.firmware_trial import Job
from emberbed.heater.heater_file import read_heater
from emberbed.heater.tune import tune, worst_margins
from emberbed.heater.tune_refined import MOST_MS, Effort, NotRefined, refine
from emberbed.heater.tune_report import as_json, as_lines, chart
from tests.host.heater.heater_texts import heater, heater_text

EFFORT = Effort(plants=1, sweeps=2)


@pytest.fixture(autouse=True, scope="module")
def short_job():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(firmware_trial, "_job", lambda *_: Job(21.0, (45.0,), (0.15,), 30.0))
        yield


@pytest.fixture(scope="module")
def published():
    return tune(heater())


@pytest.fixture(scope="module")
def refined(published):
    return refine(heater(), published, EFFORT)


def cost(one):
    return max(found.cost_c for found in one.in_firmware)


def test_no_worse_than_any_rule_within_the_bound(refined):
    best = refined.best
    assert best.rule.startswith("refined from ")
    assert best is refined.candidates[-1] and len(best.in_firmware) == 2
    rivals = [one for one in refined.candidates[:-1] if one.in_firmware]
    within = [one for one in rivals if one.margins.ms <= MOST_MS]
    assert len(within) >= 4
    assert all(cost(best) <= cost(one) for one in within)
    assert cost(best) < min(cost(one) for one in within)  # here there is something to find


def test_what_is_found_can_be_held_and_is_calm(refined):
    gains = refined.best.gains
    assert gains == held(gains) and refusal(gains) is None
    assert worst_margins(refined.processes, gains).ms == refined.best.margins.ms <= MOST_MS


def test_a_search_that_leaves_runs_out_finds_what_all_runs_would(published):
    # the slow way: every neighbour on every heater to the end, the cheapest of them
    trial = firmware_trial.made_trial(heater(), 2, 1)

    def whole(gains):
        each = [firmware_trial.figures(trial, gains, n) for n in range(len(trial.situations))]
        return tune_refined._Found(gains, tuple(each))

    begin = whole(next(one for one in published.candidates if one.rule == "SIMC PID").gains)
    near = tune_refined._neighbours(begin.gains, 1.6, published)
    slowly = min(map(whole, near), key=lambda one: one.cost_c)
    assert len(near) > 3
    quickly = tune_refined._best_of(trial, near, begin, map)
    assert quickly == (slowly if slowly.cost_c < begin.cost_c else None)


def test_a_run_is_given_up_when_it_costs_too_much(published):
    trial = firmware_trial.made_trial(heater(), 1, 1)
    gains = published.best.gains
    cost_c = firmware_trial.figures(trial, gains, 0).cost_c
    assert firmware_trial.figures(trial, gains, 0, 1.001 * cost_c).cost_c == cost_c
    assert firmware_trial.figures(trial, gains, 0, 0.999 * cost_c).cost_c == float("inf")


def test_what_has_no_end_is_tried_once_and_said(published):
    slow = [replace(one, gains=one.gains._replace(kp_per_k=1e-4, ki_per_k_s=2e-6, kd_s_per_k=0.0))
            if one.rule == "AMIGO PI" else one for one in published.candidates]  # fmt: skip
    tuning = refine(heater(), replace(published, candidates=tuple(slow)), EFFORT)
    tried = {one.rule: len(one.in_firmware) for one in tuning.candidates}
    assert tried["AMIGO PI"] == 1 and tried["SIMC PID"] == 2
    lines = as_lines(heater(), tuning)
    assert any(line.startswith("No end within 2 times the planned time: ") for line in lines)
    row = next(line for line in lines if line.startswith("AMIGO PI "))
    assert row.split()[-5:] == ["-", "-", "-", "no", "end"]
    drawn = chart(tuning)
    assert {one.name for one in drawn.measured} >= {"AMIGO PI", tuning.best.rule}
    assert len({one.seconds[-1] for one in drawn.measured}) == 1  # a name beside each end
    assert drawn.measured[0].seconds[-1] < 1.5 * tuning.trial.job.planned_s
    answer = {one["rule"]: one["in_firmware"] for one in as_json(heater(), tuning)["candidates"]}
    assert set(answer["AMIGO PI"].values()) == {None}


def test_same_seed_same_gains(published, refined):
    assert refine(heater(), published, EFFORT).best == refined.best
    other = refine(heater(), published, EFFORT._replace(seed=2, sweeps=0))
    assert other.candidates[0].in_firmware[1] != refined.candidates[0].in_firmware[1]


def test_nothing_calm_to_begin_with(published, monkeypatch):
    monkeypatch.setattr(tune_refined, "MOST_MS", 1.0)
    with pytest.raises(NotRefined, match="no rule's gains have an Ms of 1 or less"):
        refine(heater(), published, EFFORT)


def test_nothing_comes_to_the_end(published, monkeypatch):
    # 0.9 degC/s from cold is more than this heater gives with its power cap
    monkeypatch.setattr(firmware_trial, "_job", lambda *_: Job(21.0, (45.0,), (0.9,), 5.0))
    with pytest.raises(NotRefined, match="no rule's gains bring every heater"):
        refine(heater(), published, EFFORT)


def test_command(heater_command, tmp_path, monkeypatch):
    monkeypatch.setattr(
        "emberbed.heater.tune_asked.os.cpu_count", lambda: 1
    )  # the short job is ours
    file = tmp_path / "heater.toml"
    file.write_text(heater_text())
    words = ("tune", file, "--quick", "--plants", 1)
    said = heater_command(*words, "--picture", "trial.svg")
    assert said.exit_code == 0, said.output
    assert "refined from" in said.stdout and "Trial in the firmware" in said.stdout
    written = read_heater(file).gains
    answer = json.loads(heater_command(*words, "--json").stdout)
    assert answer["chosen"] == written.rule and answer["heaters_tried"] == 2
    held_kp = written.gains().kp_q8()
    assert answer["device"]["kp_q8"] == held_kp
    assert "Z" in (tmp_path / "trial.svg").read_text()


def test_a_heater_that_cannot_be_tried(heater_command, tmp_path, monkeypatch):
    def impossible(*_):
        raise firmware_trial.CannotTry("too weak")

    monkeypatch.setattr(firmware_trial, "_job", impossible)
    file = tmp_path / "heater.toml"
    file.write_text(heater_text())
    said = heater_command("tune", file)
    assert said.exit_code == 0
    assert said.stderr == "Not refined: too weak. The published rules decide.\n"
    assert "refined" not in said.stdout
