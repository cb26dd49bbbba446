"""A run enters the bench record by itself, asks nothing, and is never kept from running."""

from io import StringIO

import pytest
from rich.console import Console

from emberbed.bench.prepare import NotReady, PlainHold
from emberbed.jobs.book import JobBook
from emberbed.jobs.from_run import JobWish, join, wish_for, wish_of
from emberbed.profiles.reader import read_profile
from emberbed.store.faults import StoreError
from tests.host.store.synthetic_run import facts


@pytest.fixture
def profile():
    return read_profile("weather-logger")


def joined(store, wish):
    run_id = store.begin_run(facts())
    console = Console(file=StringIO(), width=500)
    join(store, run_id, wish, console)
    return run_id, console.file.getvalue()


def test_a_real_board_is_called_as_its_profile(store, profile):
    assert wish_for(store, None, profile, simulated=False) == JobWish(board=profile.model.name)


def test_what_is_no_repair_is_no_job(store, profile):
    assert wish_for(store, None, profile, simulated=True) is None
    assert wish_for(store, None, PlainHold(60, 60), simulated=False) is None
    asked = JobWish(board="Label printer")
    assert wish_for(store, asked, profile, simulated=True) == asked


def test_what_is_asked_for_by_number_must_be_there_and_open(store, profile):
    job_id = JobBook(store).new("Label printer")
    asked = wish_of(str(job_id), None)
    assert wish_for(store, asked, profile, simulated=False) == asked
    JobBook(store).close(job_id, "works")
    with pytest.raises(NotReady, match="closed: open it again"):
        wish_for(store, asked, profile, simulated=False)
    with pytest.raises(StoreError, match="has no job 2"):
        wish_for(store, wish_of("2", None), profile, simulated=False)
    assert wish_of(None, None) is None


def test_the_first_run_opens_a_job_and_the_next_ones_join_it(store):
    wish = JobWish(board="Label printer")
    first, said = joined(store, wish)
    assert said.startswith("note: Job 1 (Label printer) is opened, it has this run;")
    second, said = joined(store, JobWish(board="LABEL printer"))
    assert said.startswith("note: Job 1 (Label printer), open since ") and "has this run." in said
    assert f"Is it another board? emberbed job new BOARD --run {second}" in said
    book = JobBook(store)
    assert book.job(1).runs == (first, second)
    book.close(1, "works")
    joined(store, wish)
    assert book.job("last").id == 2
    third, said = joined(store, JobWish(number="2"))
    assert said == "note: Job 2 (Label printer) has this run.\n" and third in book.job(2).runs


def test_no_wish_leaves_no_trace(store):
    assert joined(store, None)[1] == "" and JobBook(store).jobs() == []


def test_a_record_that_cannot_be_kept_costs_a_sentence_and_not_the_run(store):
    store.database.all("DROP TABLE job_entry")
    _run_id, said = joined(store, JobWish(board="Label printer"))
    assert said.startswith("warning: this run could not join a job (") and "goes on without" in said
