"""Jobs: what is told of them, what is added, what is refused; a real SQLite file."""

from decimal import Decimal

import pytest

from emberbed.bench.prepare import NotReady
from emberbed.jobs import model
from emberbed.jobs.book import MOST_ITEMS, JobBook
from emberbed.jobs.checklists import shipped
from emberbed.jobs.placements import last_placement
from emberbed.report.photos import PhotoError
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore
from tests.host.store.synthetic_run import facts
from tests.support.bench_jobs import LOGGER, PRINTER


@pytest.fixture
def book(store):
    return JobBook(store)


@pytest.fixture
def job_id(book):
    return book.new(PRINTER, serial="LP-0412", fault="prints  blank\nlabels")


def refused(call, *words, **more):
    with pytest.raises((NotReady, StoreError, PhotoError)) as caught:
        call(*words, **more)
    return str(caught.value)


def test_a_job_says_what_was_told(store, book, job_id):
    with RunStore.open(store.path) as again:
        job = JobBook(again).job("last")
    assert (job.id, job.board, job.serial, job.fault) == (
        1,
        PRINTER,
        "LP-0412",
        "prints blank labels",
    )
    assert (job.outcome, job.closed_utc, job.worth, job.minutes) == (None, None, None, None)
    assert (job.runs, job.parts, job.photos, job.tests, job.answers) == ((), (), (), (), {})
    assert job.title() == "Job 1 (Label printer, main board, serial LP-0412)"
    assert book.job("1") == book.job(1) == job


def test_a_job_is_changed_and_what_it_was_stays(book, job_id):
    assert book.change(job_id, minutes="45", worth="120.50", found="lifted ball") == 3
    assert book.change(job_id, minutes="50", worth="120.50", serial=None) == 1
    job = book.job(job_id)
    assert (job.minutes, job.worth, job.found) == (50, Decimal("120.50"), "lifted ball")
    assert book.change(job_id, worth="") == 1 and book.job(job_id).worth is None
    told = [one.value for one in book.history(job_id) if one.subject == "minutes"]
    assert told == [45, 50]


def test_a_job_is_closed_and_opened_again(book, job_id):
    book.close(job_id, model.WORKS, "prints all day")
    job = book.job(job_id)
    assert (job.outcome, job.outcome_note) == (model.WORKS, "prints all day")
    assert job.closed_utc >= job.opened_utc
    book.reopen(job_id)
    assert book.job(job_id).outcome is None
    book.add_part(job_id, "ball kit")
    book.close(job_id, model.FAILS)
    assert [one.value and one.value["outcome"] for one in book.history(job_id)
            if one.subject == "closed"] == [model.WORKS, None, model.FAILS]  # fmt: skip


def test_parts_have_their_price(book, job_id):
    assert book.add_part(job_id, "memory", 2, "4.10") == 1
    assert book.add_part(job_id, "pad") == 2
    memory, pad = book.job(job_id).parts
    assert (memory.cost(), pad.cost()) == (Decimal("8.20"), None)
    book.take_back(job_id, "part", 1)
    assert [part.number for part in book.job(job_id).parts] == [2]
    assert book.add_part(job_id, "memory") == 3


def test_photographs_are_kept_whatever_becomes_of_the_file(book, job_id, picture, store):
    path = picture("before.jpg")
    octets = path.read_bytes()
    book.add_photo(job_id, path, model.BEFORE, "as it came")
    path.unlink()
    book.add_photo(job_id, picture("after.png", "#ff0000"), model.AFTER)
    job = book.job(job_id)
    assert [(one.kind, one.name, one.note) for one in job.photos] == [
        ("before", "before.jpg", "as it came"), ("after", "after.png", "")]  # fmt: skip
    assert (store.path.parent / "bench-files" / job.photo("before").file).read_bytes() == octets


def test_a_photograph_of_the_sensors_is_shown_before_the_next_such_board(
    book, job_id, picture, store
):
    run_id = store.begin_run(facts())
    book.join_run(job_id, run_id)
    book.add_photo(job_id, picture(), model.SENSORS, "edge at J4")
    found = last_placement(store, PRINTER)
    assert (found.note, found.run_id) == ("edge at J4", run_id)
    assert found.photo.name == book.job(job_id).photos[0].file


def test_answers_are_kept_together_or_not_at_all(book, job_id):
    after = shipped("after")
    book.answer(job_id, "after", [(after.item("clean"), "yes"), (after.item("pads"), "no")], "torn")
    answers = book.job(job_id).answers
    assert {at: (one.answer, one.note) for at, one in answers.items()} == {
        ("after", "clean"): ("yes", "torn"), ("after", "pads"): ("no", "torn")}  # fmt: skip
    said = refused(
        book.answer, job_id, "after", [(after.item("clean"), "no"), (after.item("pads"), "y")]
    )
    assert said == '"y" is no answer to "thermal pads back"; answer with one of yes, no, not_needed'
    assert book.job(job_id).answers == answers


def test_a_run_belongs_to_one_job(book, job_id, store):
    run_id = store.begin_run(facts())
    other = book.new(LOGGER)
    book.join_run(job_id, run_id)
    book.join_run(job_id, run_id)
    assert (book.job(job_id).runs, book.job(other).runs) == ((run_id,), ())
    book.join_run(other, run_id)
    assert (book.job(job_id).runs, book.job(other).runs) == ((), (run_id,))


def test_the_newest_open_job_of_a_type_of_board(book, job_id):
    assert book.open_job_of("label printer,  MAIN board") == job_id
    second = book.new(PRINTER)
    assert book.open_job_of(PRINTER) == second
    book.close(second, model.NOT_TRIED)
    assert book.open_job_of(PRINTER) == job_id
    book.change(job_id, board=LOGGER)
    assert (book.open_job_of(PRINTER), book.open_job_of(LOGGER)) == (None, job_id)


def test_each_bad_entry_is_named_and_nothing_is_kept(book, job_id, tmp_path, store):
    before = book.history(job_id)
    (tmp_path / "odd.png").write_bytes(b"no picture")
    expected = {
        "--board is 1 to 80 characters": (book.new, " "),
        "--serial is 1 to 80 characters": (lambda: book.change(job_id, serial="\x1b[2J")),
        "--fault is 1 to 500 characters": (lambda: book.change(job_id, fault="x" * 501)),
        "--minutes -3 is no time": (lambda: book.change(job_id, minutes="-3")),
        "--minutes 9999999 is no time": (lambda: book.change(job_id, minutes="9999999")),
        "--worth 1,50 is no amount": (lambda: book.change(job_id, worth="1,50")),
        "--worth 1e5 is no amount": (lambda: book.change(job_id, worth="1e5")),
        "--worth nan is no amount": (lambda: book.change(job_id, worth="nan")),
        "--worth 1000001 is no amount": (lambda: book.change(job_id, worth="1000001")),
        '"wroks" is not known; did you mean "works"?': (book.close, job_id, "wroks"),
        '"sensor" is not known; did you mean "sensors"?': (
            book.add_photo, job_id, tmp_path / "odd.png", "sensor"),
        "odd.png is no PNG or JPEG": (book.add_photo, job_id, tmp_path / "odd.png", "before"),
        "cannot be read (No such file": (book.add_photo, job_id, tmp_path / "none.png", "before"),
        "--count 0 is no count": (book.add_part, job_id, "pad", 0),
        "--each free is no amount": (book.add_part, job_id, "pad", 1, "free"),
        '"burn" is not known; a test is one of functional, load': (
            book.add_test, job_id, "burn", True),
        "Job 1 has no photo 4": (book.take_back, job_id, "photo", 4),
        "has no job 77": (book.close, 77, "works"),
        "has no job 2": (book.add_part, 2, "pad"),
        "has no job -1": (book.job, "-1"),
        "has no job 99999999999999999999": (book.job, "99999999999999999999"),
        "has no run 5": (book.join_run, job_id, 5),
    }  # fmt: skip
    for sentence, call in expected.items():
        words = call if isinstance(call, tuple) else (call,)
        assert sentence in refused(*words), sentence
    assert book.history(job_id) == before and len(book.jobs()) == 1
    assert not (store.path.parent / "bench-files").exists()


def test_a_book_without_jobs_says_how_to_open_one(book):
    assert "has no jobs yet; open one with: emberbed job new BOARD" in refused(book.job, "last")


def test_a_job_does_not_grow_without_end(book, job_id):
    for _each in range(MOST_ITEMS):
        book.add_part(job_id, "pad")
    assert "at most 200 parts" in refused(book.add_part, job_id, "pad")


def test_a_copy_that_cannot_be_made_is_told(book, job_id, picture, store):
    (store.path.parent / "bench-files").write_text("a file where the folder goes")
    said = refused(book.add_photo, job_id, picture(), "before")
    assert "cannot take the copy of sensors.png" in said and book.job(job_id).photos == ()
