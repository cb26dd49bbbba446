import pytest
from PIL import Image

from emberbed.store.run_store import RunStore


@pytest.fixture
def store(tmp_path):
    with RunStore.open(tmp_path / "data" / "runs.sqlite") as opened:
        yield opened


@pytest.fixture
def picture(tmp_path):
    """Return a function that writes a photograph of one colour and returns its path."""

    def drawn(name="sensors.png", colour="#204030", size=(64, 40), **options):
        path = tmp_path / name
        Image.new("RGB", size, colour).save(path, **options)
        return path

    return drawn
