"""What the self-check costs: a tick of the copy, and a whole run at `--speed max` with and without.

Measured with `pytest tests/benchmarks/test_self_check_cost.py --benchmark-only -s`. The runs with
and without take turns in one go, so that what else the machine does touches both.
"""

import time

import pytest

from emberbed.replay.shadow import Shadow
from emberbed_fw.replay import Replay
from emberbed_fw.units import TICK_MS
from tests.host.replay.recorded import PLAN, SETTINGS, recorded
from tests.support.command import finish, stored
from tests.support.profiles import hold_profile

TURNS = 3
MOST_OF_A_TICK = 0.02  # of real time


def test_a_tick_of_the_copy(benchmark):
    records = recorded()
    counts = bytes(len(Replay(SETTINGS, PLAN).machine.life.trip_counts))

    def follow():
        shadow = Shadow(SETTINGS, PLAN)
        shadow.armed(counts)
        assert not any(shadow.follow(packed) for packed in records)

    benchmark.pedantic(follow, rounds=5, iterations=1)
    tick_s = benchmark.stats.stats.mean / len(records)
    print(f"\n{1e6 * tick_s:.0f} us a tick")
    assert tick_s < MOST_OF_A_TICK * TICK_MS / 1000


@pytest.mark.benchmark(min_rounds=1, warmup=False)
def test_a_run_at_full_speed_with_and_without(benchmark, tmp_path):
    profile = tmp_path / "ten-minutes.toml"
    profile.write_text(hold_profile(for_s=360), encoding="utf-8")
    taken_s = {"alarm": [], "off": []}

    def both():
        for mode, walls in taken_s.items():
            store = tmp_path / f"{mode}.sqlite"
            given = ("--speed", "max", "--press", "--store", store, "--self-check", mode)
            began_s = time.monotonic()
            done = finish("run", profile, *given)
            walls.append(time.monotonic() - began_s)
            assert done.exit_code == 0, done.said
            assert "Self-check" not in done.said

    benchmark.pedantic(both, rounds=TURNS, iterations=1)
    ticks = len(stored(tmp_path / "alarm.sqlite").records)
    for mode, walls in taken_s.items():
        best_s = min(walls)
        print(f"\n{mode}: {best_s:.2f} s, {ticks / best_s:.0f} ticks/s")
