"""A stored run and its bundle."""

import pytest

from emberbed.bundle.write import write_bundle
from tests.host.bundle.carried import OTHERS, whole_run
from tests.host.replay.recorded import (
    open_store,
)
from tests.host.store.synthetic_run import drawn_record, store_run


@pytest.fixture
def home(tmp_path):
    folder = tmp_path / "home"
    folder.mkdir()
    with open_store(folder) as opened:
        yield opened


@pytest.fixture
def away(tmp_path):
    folder = tmp_path / "away"
    folder.mkdir()
    with open_store(folder) as opened:
        for _run in range(OTHERS):  # so that numbers differ
            store_run(opened, [drawn_record(tick) for tick in range(20)])
        yield opened


@pytest.fixture
def bundle(home, tmp_path):
    path = tmp_path / "run.zip"
    write_bundle(home, home.run(whole_run(home)), path)
    return path
