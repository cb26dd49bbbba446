"""A store for reports."""

import pytest

from emberbed.store.run_store import RunStore


@pytest.fixture
def store(tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        yield opened
