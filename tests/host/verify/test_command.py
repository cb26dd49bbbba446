"""`emberbed verify` as a process: what it writes, its exit codes, and bad input in one sentence."""

import json
import os
import signal
import socket
import time

import pytest

from emberbed_sim.campaign.seeded_bugs import broken, bugs
from tests.support.command import Started, finish
from tests.support.parts import need_python_module
from tests.support.processes import children_of, gone, need_posix

ONE = ("verify", "--only", "tc_open#1", "--phase", "ramp", "--replay", 0)


def refused(said, sentence):
    assert said.exit_code == 2, said
    assert said.output == ""
    assert len(said.errors.strip().splitlines()) == 1, said.errors
    assert said.errors.startswith(sentence), said.errors


def test_a_part_of_the_campaign_writes_its_evidence(tmp_path):
    need_python_module("pyarrow", "pip install 'emberbed[verify]'")
    from pyarrow import parquet

    said = finish("verify", "--only", "tc_open", "--phase", "soak", "--seeds", 2, "--out", tmp_path)
    assert said.exit_code == 0, said
    assert said.output.startswith("0 of 8 faults and 0 pairs missed")
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {"evidence.json", "evidence.html", "evidence.md", "results.parquet"}
    evidence = json.loads((tmp_path / "evidence.json").read_text())
    assert evidence["missed"] == evidence["false_trips"] == 0
    assert [row["runs"] for row in evidence["rows"]] == [2, 2, 2, 2]
    assert parquet.read_table(tmp_path / "results.parquet").num_rows == 8
    assert "--only tc_open" in (tmp_path / "evidence.md").read_text()


def test_the_same_seed_says_the_same():
    first, again = finish(*ONE, "--json"), finish(*ONE, "--json")
    rows = [json.loads(said.output)["rows"] for said in (first, again)]
    assert first.exit_code == 0
    assert rows[0] == rows[1] and rows[0]


def test_a_healthy_day_is_replayed_by_its_seed():
    said = finish("verify", "--only", "healthy", "--replay", 7, "--json")
    assert json.loads(said.output)["healthy"]["runs"] == 1


def test_a_miss_ends_with_one_and_says_how_to_see_it_again(tmp_path):
    bug = next(bug for bug in bugs() if bug.name == "only the first sensor is judged")
    for name, content in broken(bug).items():
        path = tmp_path / "emberbed_fw" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    said = finish(*ONE, PYTHONPATH=str(tmp_path))
    assert said.exit_code == 1, said
    assert "1 of 1 faults" in said.output
    assert "emberbed verify --only 'tc_open#1' --phase ramp --setup edge/with/known --replay 0" in (
        said.errors
    )


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--only", "tc_opn"), "Fault 'tc_opn' is not in the table: give healthy or one of"),
        (("--phase", "lunch"), "Phase 'lunch' is not known: give --phase one of idle,"),
        (("--setup", "many"), "Setup 'many' is not known: give --setup one of"),
        (("--only", "tc_open then lunch"), "No pair 'tc_open then lunch' is in the campaign"),
    ],
)
def test_names_that_do_not_exist(words, sentence):
    refused(finish("verify", *words), sentence)


def test_a_campaign_ended_from_outside_leaves_nobody_behind(tmp_path):
    need_posix("signals and ps")
    need_python_module("pyarrow", "pip install 'emberbed[verify]'")
    with Started("verify", "--seeds", 200, "--workers", 2, "--out", tmp_path) as campaign:
        workers = children_of(campaign.process.pid)
        while len(workers) < 3:  # two that work, and one that tidies up after them
            assert campaign.process.poll() is None, campaign.lines
            time.sleep(0.1)
            workers = children_of(campaign.process.pid)
        campaign.process.send_signal(signal.SIGTERM)
        assert campaign.end() == 2
        assert all(gone(worker) for worker in workers)
        assert "Broken off" in campaign.lines[-1], campaign.lines


def test_a_folder_that_cannot_be_written(tmp_path):
    need_python_module("pyarrow", "pip install 'emberbed[verify]'")
    (tmp_path / "file").write_text("no folder")
    where = tmp_path / "file" / "evidence"
    refused(finish(*ONE, "--out", where), f"{where} cannot be written (Not a directory)")


def test_a_folder_without_rights(tmp_path):
    need_posix("has rights on folders")
    if os.geteuid() == 0:
        where = "/proc/emberbed"
    else:
        tmp_path.chmod(0o500)
        where = str(tmp_path / "evidence")
    refused(finish(*ONE, "--out", where), f"{where} cannot be written")


def test_a_cluster_that_does_not_answer():
    need_python_module("distributed", "pip install 'dask[distributed]'")
    with socket.socket() as nobody:
        nobody.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{nobody.getsockname()[1]}"
        refused(finish(*ONE, "--dask", address), f"No cluster answers at {address}: start one")
