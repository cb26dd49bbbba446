"""How fast the virtual device goes: `--speed max` has to move 10 minutes in under 10 s.

Measured with `pytest tests/benchmarks --benchmark-only`; the claim is for two free cores.
"""

import pytest

from emberbed_fw.units import TICKS_PER_S
from tests.support.command import finish, stored
from tests.support.profiles import hold_profile

MINUTES = 10
MOST_S = 10.0


@pytest.mark.benchmark(min_rounds=1, warmup=False)
def test_ten_minutes_at_full_speed(benchmark, tmp_path):
    profile = tmp_path / "ten-minutes.toml"
    profile.write_text(hold_profile(for_s=360), encoding="utf-8")  # and 4 min of ramp and cooling
    store = tmp_path / "runs.sqlite"

    def whole_run():
        done = finish("run", profile, "--speed", "max", "--press", "--store", store)
        assert done.exit_code == 0, done.said

    benchmark.pedantic(whole_run, rounds=3, iterations=1)
    assert len(stored(store).records) / TICKS_PER_S >= MINUTES * 60
    assert benchmark.stats.stats.mean < MOST_S
