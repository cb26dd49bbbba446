"""Random runs with faults are equal in every interpreter, and a flipped bit in each is found.

The whole hundred: `python -m tests.host.replay.random_runs`.
"""

import pytest

from tests.host.replay.random_runs import found_at, is_equal, make, replayed, with_a_flipped_bit
from tests.host.replay.recorded import open_store

SEEDS = range(1000, 1006)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_random_run_is_equal_and_a_flipped_bit_is_found(seed, tmp_path):
    run = make(seed)
    spoilt, tick = with_a_flipped_bit(run, seed)
    with open_store(tmp_path) as store:
        assert is_equal(run, replayed(store, run)), run.faults
        assert found_at(replayed(store, spoilt)) == {tick}


def test_the_runs_are_not_all_alike():
    runs = [make(seed) for seed in SEEDS]
    assert len({run.faults for run in runs}) > 2 and len({len(run.records) for run in runs}) > 3
