"""A stored run and its bundle."""

import shutil

import pytest
from PIL import Image

from emberbed.bundle.write import write_bundle
from emberbed.jobs import model
from emberbed.jobs.book import JobBook
from emberbed.store.run_store import RunStore
from tests.host.bundle.carried import OTHERS, whole_run
from tests.host.bundle.carried_jobs import GPS_IFD, LATITUDE, MAKER
from tests.host.replay.recorded import (
    open_store,
)
from tests.host.store.synthetic_run import drawn_record, store_run
from tests.support import bench_jobs


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


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    """Return the folder of a store with the jobs of a bench; the first one has all that one can."""
    folder = tmp_path_factory.mktemp("filled")
    with RunStore.open(folder / "bench" / "runs.sqlite") as store:
        bench_jobs.fill(store, folder)
        book = JobBook(store)
        book.change(1, found="a cracked joint")
        exif = Image.Exif()
        exif[MAKER] = "Some camera"
        exif.get_ifd(GPS_IFD)[LATITUDE] = (51.0, 3.0, 2.0)
        Image.new("RGB", (2400, 1200), "#204030").save(folder / "place.jpg", exif=exif)
        book.add_photo(1, folder / "place.jpg", model.OTHER, "the underside")
    return folder / "bench"


@pytest.fixture
def bench(filled, tmp_path):
    shutil.copytree(filled, tmp_path / "bench")
    with RunStore.open(tmp_path / "bench" / "runs.sqlite") as store:
        yield store


@pytest.fixture
def guest(tmp_path):
    """Return another bench with a job and a run of its own."""
    with RunStore.open(tmp_path / "guest" / "runs.sqlite") as store:
        JobBook(store).new("Weather logger")
        yield store
