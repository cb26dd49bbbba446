"""The step test of `emberbed identify`: a run as any other, then its rows.

What it shares with the survey, the other run that a command makes itself, is public.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import typer
from rich.console import Console

from emberbed.bench.prepare import MadeOnDevice, NotReady
from emberbed.bench.session import RunRequest, RunResult
from emberbed.bench.virtual import VirtualBench
from emberbed.cli_common import LUMPED, VIRTUAL, fail, told
from emberbed.cli_run import run_asked, tell_result
from emberbed.cli_virtual import checked_bench, refuse_on_real_device
from emberbed.heater.step_test import (
    LEAST_LIMIT_C,
    LEAST_PERCENT,
    MOST_LIMIT_C,
    MOST_PERCENT,
    StepTest,
)
from emberbed.materials.book import UnknownMaterial, find_alloy, find_laminate
from emberbed.store.run_store import RunStore

if TYPE_CHECKING:  # numpy only where it is needed
    from emberbed.heater.coupling import ZoneSteps
    from emberbed.heater.heater_file import ZoneTable
    from emberbed.heater.step_data import Measured


NOTHING = (
    "Nothing to identify: name a file with --from, or make a step test with --device virtual"
    " --limit 100"
)


@dataclass(frozen=True)
class OnDevice:
    """Where such a run is made, and how the virtual device shall be."""

    device: str
    press: bool
    speed: str
    seed: int
    engine: str
    store: Path | None
    plant: str = LUMPED


@dataclass(frozen=True)
class Tested:
    """A finished step test: its rows, when it heated again, watts as the device has them."""

    result: RunResult
    measured: "Measured"
    second_heating_s: float
    watts: float | None
    zones: "tuple[ZoneSteps, list[int]] | None" = None  # of several, with their watts


def check_source(
    source: Path | None,
    device: str | None,
    on_device: dict[str, bool],
    in_file: dict[str, bool],
    nothing: str = NOTHING,
) -> None:
    """Refuse anything but exactly one source, and options of the other one."""
    if source is not None and device is not None:
        fail(["--from and --device are two sources: leave one of them out"])
    if source is None and device is None:
        fail([nothing])
    belongs, other = ("--from", in_file) if source is None else ("--device", on_device)
    for option, given in other.items():
        if given:
            fail([f"{option} belongs to {belongs}: leave it out"])


def step_test(limit: float | None, percent: float, alloy: str, laminate: str) -> StepTest:
    """Return the step test that the options ask for, or leave with one sentence."""
    if limit is None:
        fail(["A step test needs the °C at which heat goes off: add --limit, such as --limit 100"])
    for option, number, least, most, unit in (
        ("--limit", limit, LEAST_LIMIT_C, MOST_LIMIT_C, "°C"),
        ("--percent", percent, LEAST_PERCENT, MOST_PERCENT, "%"),
    ):
        if not least <= number <= most:  # not a number too
            fail([f"{option} {number:g} is out of range: give {least:g} to {most:g} {unit}"])
    return StepTest(limit, percent, alloy, laminate)


def tested(test: StepTest, where: OnDevice, json_answer: bool) -> Tested:
    """Run the test; leave with the run's own exit code where it does not finish."""
    from emberbed.heater.csv_reader import TableMistake
    from emberbed.heater.run_rows import configured_watts, measured_run, measured_zones

    with told():
        check_materials(test.alloy, test.laminate)
        request = RunRequest(test, where.device, bench_for(test, where), where.press, None, False)
        result = run_asked(request, where.store, Console(stderr=json_answer))
    if result.outcome.exit_code:
        tell_result(result, json_answer)
        raise typer.Exit(result.outcome.exit_code)
    try:
        with told(), RunStore.open(where.store, create=False) as store:
            measured, again_s = measured_run(store, result.run_id)
            watts = configured_watts(store, result.run_id)
            zones = measured_zones(store, result.run_id)
            return Tested(result, measured, again_s, watts, zones)
    except TableMistake as mistake:
        fail([str(mistake)])


def zones_of(done: Tested) -> "ZoneTable | None":
    """Return how each zone warms each sensor, where the device has several; leave where its zones
    cannot be told apart."""
    if done.zones is None:
        return None
    from emberbed.heater.coupling import CouplingMistake, fit_coupling
    from emberbed.heater.zone_report import zone_table

    steps, watts = done.zones
    try:
        return zone_table(fit_coupling(steps), watts)
    except CouplingMistake as mistake:
        fail([f"run {done.result.run_id}: {mistake}"])


def check_materials(alloy: str, laminate: str) -> None:
    """Refuse a solder or a laminate that nobody knows. Raises NotReady."""
    try:
        find_alloy(alloy)
        find_laminate(laminate)
    except UnknownMaterial as unknown:
        raise NotReady([f"--alloy or --laminate: {unknown}"]) from None


def bench_for(asked: MadeOnDevice, where: OnDevice) -> VirtualBench | None:
    """Return what to simulate, None for a real device. Raises NotReady."""
    if where.device == VIRTUAL:
        bench = VirtualBench(where.speed, where.seed, (), where.engine, plant=where.plant)
        return checked_bench(bench, asked)
    only_virtual = {
        "--press": where.press,
        "--speed": where.speed != "1",
        "--seed": where.seed != 1,
        "--engine": where.engine != "auto",
        "--plant": where.plant != LUMPED,
    }
    refuse_on_real_device(where.device, [name for name, given in only_virtual.items() if given])
    return None
