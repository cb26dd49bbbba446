"""Reports on the shelf: sealed, one for each device, carried over where nothing has changed."""

import json
from dataclasses import replace

import pytest

from emberbed.acceptance import modules, shelf, standing, whole
from emberbed.acceptance.page import page, verdict
from emberbed.acceptance.report import (
    FAILED,
    INJECTED,
    NOT_DONE,
    PARTS,
    PASSED,
    Report,
    StepResult,
    description_mark,
    from_json,
    to_json,
)
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.firmware_sources import digest_of
from emberbed.link.device import Device
from emberbed_fw.messages import ENTRY_HEATS
from tests.support.plans import TWO_CHANNELS, bench_settings

SOURCES = standing.installed_sources()
BLOCK = bench_settings()


def result(number="4.01", part=INJECTED, outcome=PASSED, **more):
    return StepResult(number, f"step {number}", part, outcome, "found", 200, 300, "ms", ("C01",),
                      ("converters.py",), **more)  # fmt: skip


def report(*steps, **more):
    values = {
        "device": "0102", "virtual": False, "firmware": digest_of(SOURCES).hex(),
        "firmware_version": "0.1.0", "description": description_mark(BLOCK),
        "channels": ("top",), "runs_in": "device", "date": "2026-11-28T12:00:00+00:00",
        "signed_by": "A. Tester", "program": "0", "modules": modules.digests(SOURCES),
        "steps": steps or (result(),), **more,
    }  # fmt: skip
    return Report(**values)


def all_parts(**more):
    return report(*(result(f"{at}.1", part) for at, part in enumerate(PARTS)), **more)


def test_report_comes_back_as_it_was_kept():
    kept = shelf.keep(report())
    assert kept.name == "20261128T120000.html" and kept.parent.name == "0102"
    assert shelf.newest("0102") == report()
    assert "A. Tester" in kept.read_text(encoding="utf-8")


def test_a_report_that_was_changed_is_no_report():
    text = to_json(report())
    for changed in (text.replace("A. Tester", "B. Tester"), text.replace("200", "100"), "{}", "x"):
        with pytest.raises(ValueError):
            from_json(changed)
    path = shelf.keep(report()).with_suffix(".json")
    path.write_text(text.replace("passed", "failed"))
    assert shelf.newest("0102") is None


def test_what_people_and_devices_wrote_breaks_no_page():
    written = page(report(result(), signed_by="<script>alert(1)</script>", channels=("<b>",)))
    assert "<script" not in written and "<b>" not in written


def test_verdict_says_what_is_missing():
    assert verdict(all_parts()) == "Accepted: logic, pins and mains."
    assert "still to do: the pins, with a lamp as load; mains" in verdict(report())
    bad = report(result(), result("4.02", outcome=FAILED))
    assert verdict(bad) == "Not accepted: 1 step failed (4.02)."


def test_calibration_leaves_the_description_what_it_is():
    name, kind, ceiling, _offset, gain = TWO_CHANNELS[0]
    calibrated = ((name, kind, ceiling, 150, gain + 9), TWO_CHANNELS[1])
    other = ((name, kind, ceiling - 100, 0, gain), TWO_CHANNELS[1])
    assert description_mark(bench_settings(channels=calibrated)) == description_mark(BLOCK)
    assert description_mark(bench_settings(channels=other)) != description_mark(BLOCK)


def test_steps_stand_on_what_their_modules_import():
    on = modules.stands_on(SOURCES, ["converters.py"])
    assert {"converters.py", "trip_codes.py", "integer_math.py"} <= on
    assert "link.py" not in on
    assert modules.stands_on(SOURCES, ["ports/"]) >= {"ports/pipe.py", "main_loop.py"}


def changed(name):
    return {**SOURCES, name: SOURCES[name] + b"\n"}


@pytest.mark.parametrize(
    ("name", "is_good"),
    [("converters.py", False), ("trip_codes.py", False), ("link.py", True), ("pid.py", True)],
)
def test_an_update_takes_back_the_steps_that_it_touches(name, is_good):
    now = changed(name)
    good = standing.still_good(report(), modules.digests(now), now)
    assert bool(good) == is_good


def test_failed_and_open_steps_are_never_carried_over():
    steps = (result("4.02", outcome=FAILED), result("4.03", outcome=NOT_DONE))
    assert standing.still_good(report(*steps), modules.digests(SOURCES), SOURCES) == []


class Answering:
    """A device as far as its standing is asked for."""

    def __init__(self, greeting, url="/dev/none"):
        self.greeting = greeting
        self.url = url


@pytest.fixture(scope="module")
def real():
    with VirtualDevice(VirtualBench()) as virtual, Device.connect(virtual.url) as device:
        return Answering(replace(device.greeting, board_number=b"\1\2"))


def test_run_warns_once_a_day_and_only_without_an_acceptance(real):
    said = standing.warnings(real, BLOCK)
    assert (
        len(said) == 1 and "never been accepted" in said[0] and "emberbed device accept" in said[0]
    )
    assert standing.warnings(real, BLOCK) == [], "once a day"


def test_accepted_device_says_nothing(real):
    shelf.keep(all_parts())
    assert standing.warnings(real, BLOCK) == []


@pytest.mark.parametrize(
    ("kept", "told"),
    [
        ({"firmware": "ff" * 32}, "accepted on 2026-11-28 with other firmware"),
        ({"description": "0"}, "description has changed"),
    ],
)
def test_acceptance_of_something_else_is_named(real, kept, told):
    shelf.keep(all_parts(**kept))
    (said,) = standing.warnings(real, BLOCK)
    assert told in said


def test_incomplete_and_failed_acceptance_is_named(real):
    assert "not complete (lamp, mains)" in standing.wanting(real, BLOCK, report())
    bad = all_parts(steps=(result(outcome=FAILED),))
    assert "failed its acceptance" in standing.wanting(real, BLOCK, bad)


def test_whole_report_carries_over_with_its_day_and_names_what_is_open(real, monkeypatch):
    assert real.greeting.entry == ENTRY_HEATS
    shelf.keep(report(result("4.01"), result("4.02", outcome=FAILED)))
    about = {"virtual": False, "runs_in": "device", "signed_by": "B", "program": "0"}
    made = whole.whole_report(real, BLOCK, about, INJECTED, [result("4.03")])
    by_number = {step.number: step for step in made.steps}
    assert by_number["4.01"].done_on == "2026-11-28" and by_number["4.03"].done_on == ""
    assert by_number["4.02"].outcome == by_number["1.1"].outcome == NOT_DONE
    assert not made.has_passed(INJECTED) and not made.of_part("lamp")
    assert "(from 2026-11-28)" in page(made)
    assert json.loads(to_json(made))["unreached"]
