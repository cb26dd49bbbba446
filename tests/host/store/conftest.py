"""A run store with a run."""

import pytest

from emberbed.store.run_store import RunStore
from tests.host.store.synthetic_run import facts


@pytest.fixture
def store(tmp_path):
    with RunStore.open(tmp_path / "deep" / "runs.sqlite") as opened:
        yield opened


@pytest.fixture
def run_id(store):
    return store.begin_run(facts())
