"""The bench record fills itself: whole runs by the command, and what the jobs then say of them."""

import json

from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.jobs.book import JobBook
from emberbed.store.run_store import RunStore
from tests.support.command import Started, finish

AT_THE_BUTTON = "Hold the button on the device"


def test_two_runs_of_a_board_are_one_job_with_its_energy(make_run, short_profile):
    ran = make_run(short_profile, "--board", "Weather logger")
    assert "note: Job 1 (Weather logger) is opened, it has this run;" in ran.done.said
    again = finish("run", short_profile, "--speed", "max", "--press", "--store", ran.store,
                   "--board", "weather LOGGER")  # fmt: skip
    assert again.exit_code == 0 and "note: Job 1 (Weather logger), open since" in again.said
    shown = json.loads(finish("job", "show", "1", "--store", ran.store, "--json").output)
    assert [(run["run"], run["state"]) for run in shown["runs"]] == [
        (1, "finished"),
        (2, "finished"),
    ]
    last = [record.energy_j for record in ran.tape.records][-1]
    assert shown["runs"][0]["energy_j"] == last > 10_000
    assert shown["runs"][0]["simulated"] is True
    with RunStore.open(ran.store) as store:
        assert store.audit(1) == store.audit(2) == []


def test_a_device_that_is_attached_fills_the_record_without_being_asked(tmp_path, short_profile):
    """By the same way as a real one, over its own link: nothing says that it is simulated."""
    store = tmp_path / "runs.sqlite"
    with (
        VirtualDevice(VirtualBench(speed="100", engine="cpython")) as virtual,
        Started("run", short_profile, "--device", virtual.url, "--store", store) as run,
    ):
        run.until(AT_THE_BUTTON)
        assert "is opened, it has this run; say more with: emberbed job edit 1" in run.said
        with RunStore.open(store) as opened:  # the record is there before the press
            (job,) = JobBook(opened).jobs()
            assert job.board == opened.run(1).profile_name and job.runs == (1,)


def test_a_run_without_a_job_on_the_virtual_device_leaves_none(make_run, short_profile):
    ran = make_run(short_profile)
    assert "Job" not in ran.done.said
    assert json.loads(finish("job", "list", "--store", ran.store, "--json").output) == []
