"""A machine restored from a snapshot goes on exactly as the one it was taken from."""

import pytest

from emberbed_fw.replay import Replay
from emberbed_fw.snapshot import restore_snapshot, take_snapshot
from emberbed_fw.units import ZONES
from emberbed_sim import bench_device
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import BenchParameters
from tests.support.plans import build_plan, cool, hold, ramp, wait

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


def test_every_changing_attribute_is_in_the_snapshot(tape: tuple[bytes, list[bytes]]) -> None:
    """Whatever differs between two machines after different runs must be named in some STATE."""
    settings, records = tape
    ran = Replay(settings, PLAN)
    for packed in records[: len(records) // 2]:
        ran.feed(packed, len(packed))
    fresh = Replay(settings, PLAN)
    pairs = [(ran.machine, fresh.machine)]
    for name in ("readings", "button", "guard", "life", "sequencer"):
        pairs.append((getattr(ran.machine, name), getattr(fresh.machine, name)))
    for zone in range(ZONES):
        pairs.append((ran.machine.pids[zone], fresh.machine.pids[zone]))
        pairs.append((ran.machine.pids[zone].slope, fresh.machine.pids[zone].slope))
        pairs.append((ran.machine.powers[zone], fresh.machine.powers[zone]))
    for used, unused in pairs:
        for name, remembered in vars(used).items():
            numbers = remembered if isinstance(remembered, list) else [remembered]
            if not all(isinstance(number, int) for number in numbers):
                continue
            if remembered != getattr(unused, name):
                assert name in used.STATE, f"{type(used).__name__}.{name}"
