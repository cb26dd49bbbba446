"""A machine restored from a snapshot goes on exactly as the one it was taken from."""

import random

import pytest

from emberbed_fw import messages as ms
from emberbed_fw.replay import Replay, arms
from emberbed_fw.snapshot import restore_snapshot, take_snapshot
from emberbed_fw.units import ZONES
from emberbed_sim import bench_device
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import BenchParameters
from tests.support.plans import build_plan, cool, hold, ramp, wait
from tests.support.played import touched_run, went_on
from tests.support.trips import mended

PLAN = build_plan(
    [ramp(2000, 5000, 400), hold(5000, 100), wait(5000), ramp(5000, 6000, 100), cool()]
)


def record_run() -> tuple[bytes, list[bytes]]:
    bench = BenchParameters()
    settings = bench_device.bench_settings(bench)
    return settings, list(ClosedLoop(settings, PLAN, SimulatedHeater(bench, 7)).run())


@pytest.fixture(scope="module")
def tape() -> tuple[bytes, list[bytes]]:
    return record_run()


@pytest.mark.parametrize("share", [0.01, 0.1, 0.3, 0.5, 0.7, 0.95])
def test_goes_on_from_a_snapshot(tape: tuple[bytes, list[bytes]], share: float) -> None:
    settings, records = tape
    cut = int(len(records) * share)
    first = Replay(settings, PLAN)
    for packed in records[:cut]:
        assert first.feed(packed, len(packed)) == -1
    numbers = take_snapshot(first.machine)
    assert all(isinstance(number, int) and abs(number) < 2**30 for number in numbers)

    second = Replay(settings, PLAN)
    restore_snapshot(second.machine, numbers)
    second.begin_here()
    for packed in records[cut:]:
        assert second.feed(packed, len(packed)) == -1


def went_on_with_changes():
    """Return the second of two linked runs, with a change in it, and the trips before it."""
    bench, counts = went_on()
    for change in ((ms.OFFSET, 120), (ms.HOLD_HERE, 0), (ms.MARK, 0)):
        bench.touch(*change)
        bench.tick(9)
    mended("SENSOR_LIFTED", bench)
    second = [n for n, packed in enumerate(bench.tape) if arms(packed, len(packed))][-1]
    return bench, bench.tape[second:], counts


def with_changes():
    bench = touched_run()
    first = next(n for n, packed in enumerate(bench.tape) if arms(packed, len(packed)))
    return bench, bench.tape[first:], None


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("run", [with_changes, went_on_with_changes])
def test_run_with_changes_goes_on_from_any_tick(run, seed):
    bench, records, counts = run()
    cut = random.Random(seed).randrange(1, len(records) - 1)
    first = Replay(bench.settings, bench.plan, counts)
    for packed in records[:cut]:
        assert first.feed(packed, len(packed)) == -1
    numbers = take_snapshot(first.machine)
    assert all(isinstance(number, int) and abs(number) < 2**30 for number in numbers)
    second = Replay(bench.settings, bench.plan)  # the trips before are part of the snapshot
    restore_snapshot(second.machine, numbers)
    second.begin_here()
    for packed in records[cut:]:
        assert second.feed(packed, len(packed)) == -1
    assert take_snapshot(second.machine) == take_snapshot(bench.machine)


def test_without_the_snapshot_the_rest_does_not_fit(tape: tuple[bytes, list[bytes]]) -> None:
    settings, records = tape
    cut = len(records) // 2
    fresh = Replay(settings, PLAN)
    assert any(fresh.feed(packed, len(packed)) != -1 for packed in records[cut : cut + 10])


def test_a_snapshot_of_another_shape_is_refused(tape: tuple[bytes, list[bytes]]) -> None:
    settings, _records = tape
    replay = Replay(settings, PLAN)
    numbers = take_snapshot(replay.machine)
    for wrong in (numbers[:-1], [*numbers, 0]):
        with pytest.raises(ValueError, match="another firmware or plan"):
            restore_snapshot(Replay(settings, PLAN).machine, wrong)


def parts_of(machine):
    """Return every part that may remember something, by its name."""
    parts = {"machine": machine, "lead": machine.sequencer.lead}
    for name in ("readings", "button", "guard", "life", "touches", "signals", "sequencer"):
        parts[name] = getattr(machine, name)
    parts["lift watch"] = machine.guard.lift_watch
    for zone in range(ZONES):
        parts[f"pid {zone}"] = machine.pids[zone]
        parts[f"slope {zone}"] = machine.pids[zone].slope
        parts[f"power {zone}"] = machine.powers[zone]
        parts[f"soak {zone}"] = machine.soaks[zone]
    for zone, need in machine.needs.items():
        parts[f"need {zone}"] = need
    return parts


@pytest.mark.parametrize("run", [with_changes, went_on_with_changes])
def test_every_changing_attribute_is_in_the_snapshot(run) -> None:
    """Whatever differs between two machines after different runs must be named in some STATE."""
    bench, records, counts = run()
    ran = Replay(bench.settings, bench.plan, counts)
    fresh = parts_of(Replay(bench.settings, bench.plan).machine)
    changed = set()
    for number, packed in enumerate(records):
        ran.feed(packed, len(packed))
        if number % 5:
            continue
        for name, used in parts_of(ran.machine).items():
            for attribute, remembered in vars(used).items():
                numbers = remembered if isinstance(remembered, list) else [remembered]
                if not all(isinstance(one, int) for one in numbers):
                    continue
                if remembered != getattr(fresh[name], attribute):
                    assert attribute in used.STATE, f"{name}.{attribute}"
                    changed.add(name)
    assert changed >= {"machine", "sequencer", "guard", "life", "touches", "button", "readings"}
