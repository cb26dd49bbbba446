"""The book of jobs in a run store: open one, add to it, close it; every change keeps what was.

Raises NotReady for what cannot be kept (with the mend), StoreError, PhotoError, TableMistake; then
nothing is changed. Nothing here asks or hinders a run.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from decimal import InvalidOperation
from pathlib import Path
from typing import Any

from emberbed.bench.prepare import NotReady
from emberbed.jobs import journal, model
from emberbed.jobs.checklists import ANSWERS, Item
from emberbed.jobs.kept_files import keep_bytes, keep_photo
from emberbed.jobs.placements import add_placement
from emberbed.jobs.plain_entries import folded, name_of, sentence_of
from emberbed.jobs.prices import amount
from emberbed.plain_text import did_you_mean, printable
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore

MOST_MINUTES = 100_000  # ten weeks day and night
MOST_COUNT = 10_000
MOST_ITEMS = 200  # photographs, parts and tests of one job, each
LAST = "last"
_SENTENCES = {"fault": "--fault", "found": "--found"}
_NAMES = {"board": "--board", "serial": "--serial"}


class JobBook:
    """The jobs of an open store."""

    def __init__(self, store: RunStore) -> None:
        self._store = store
        self._database = store.database

    def jobs(self) -> list[model.Job]:
        """Return all jobs, the oldest first."""
        return [self._job_of(one) for one in journal.journals(self._database)]

    def job(self, number: str | int) -> model.Job:
        """Return a job by its number, or the newest for 'last'."""
        return self._job_of(journal.journal_of(self._database, self._number(number)))

    def history(self, job_id: int) -> list[journal.Entry]:
        """Return every entry of a job, the oldest first."""
        return journal.history(self._database, job_id)

    def open_job_of(self, board: str) -> int | None:
        """Return the newest open job of a type of board, None for none."""
        boards = journal.about(self._database, "board")
        closed = journal.about(self._database, "closed")
        key = folded(board)
        alike = [n for n, name in boards.items() if n not in closed and folded(name) == key]
        return max(alike, default=None)

    # changing

    def new(self, board: str, **told: str | None) -> int:
        """Open a job for a board; `told` as in `change`. Return its number."""
        subjects = self._subjects({"board": board, **told})
        with self._database.writing():
            job_id = journal.open_journal(self._database)
            journal.write(self._database, job_id, subjects)
        return job_id

    def change(self, job_id: int, **told: str | None) -> int:
        """Change what is told of a job: board, serial, fault, found, minutes, worth, as typed.

        None leaves it, '' takes it back (the board stays). Return how many changed.
        """
        return self._write(job_id, self._subjects(told))

    def answer(
        self, job_id: int, list_name: str, said: Sequence[tuple[Item, str]], note: str = ""
    ) -> None:
        """Keep several answers, or none of them if one is none."""
        for item, answer in said:
            if answer not in ANSWERS:
                mend = did_you_mean(answer, ANSWERS, "answer with one of")
                raise NotReady([f'"{printable(answer)}" is no answer to "{item.short}"; {mend}'])
        words = sentence_of("The note", note) if note else ""
        answers = {
            f"check/{list_name}/{item.id}": {"answer": answer, "note": words}
            for item, answer in said
        }
        self._write(job_id, answers)

    def add_photo(self, job_id: int, path: Path, kind: str, note: str = "") -> int:
        """Keep a photograph; one of the sensors is shown before the next board of the type."""
        _known(kind, model.PHOTO_KINDS, "a photograph is of one of")
        job = self.job(job_id)
        words = sentence_of("The note", note) if note else ""
        _check_room(len(job.photos), "photographs")
        kept = keep_photo(self._database, path)
        if kind == model.SENSORS:
            add_placement(self._store, job.board, words, path, max(job.runs, default=None))
        return self._add(job_id, "photo", {"kind": kind, "note": words, **kept._asdict()})

    def add_part(self, job_id: int, name: str, count: int = 1, each: str | None = None) -> int:
        """Keep a part that was used, and what one of them cost."""
        if not 1 <= count <= MOST_COUNT:
            raise NotReady([f"--count {count} is no count of parts: use 1 to {MOST_COUNT}"])
        _check_room(len(self.job(job_id).parts), "parts")
        cost = None if each is None else str(amount("--each", each))
        part = {"name": name_of("The name of the part", name), "count": count, "each": cost}
        return self._add(job_id, "part", part)

    def add_test(
        self,
        job_id: int,
        kind: str,
        passed: bool,
        note: str = "",
        minutes: str | None = None,
        log: Path | None = None,
    ) -> int:
        """Keep a functional or load test, with a temperature log from a CSV file if there is
        one."""
        _known(kind, model.TEST_KINDS, "a test is one of")
        _check_room(len(self.job(job_id).tests), "tests")
        test: dict[str, Any] = {"kind": kind, "passed": passed, "log": None}
        test["note"] = sentence_of("The note", note) if note else ""
        test["minutes"] = None if minutes is None else whole_minutes(minutes)
        if log is not None:
            test["log"] = self._kept_log(log)
        return self._add(job_id, "test", test)

    def take_back(self, job_id: int, kind: str, number: int) -> None:
        """Take back a photograph, part or test; it stays in the history."""
        subject = f"{kind}/{number}"
        if subject not in journal.journal_of(self._database, job_id).entries:
            see = f"emberbed job show {job_id}"
            raise NotReady([f"Job {job_id} has no {kind} {number}; see those it has with: {see}"])
        self._write(job_id, {subject: None})

    def join_run(self, job_id: int, run_id: int) -> None:
        """Let a run belong to this job, and to no other."""
        subject = f"run/{self._store.run(run_id).id}"
        with self._database.writing():
            for other in journal.about(self._database, subject):
                if other != job_id:
                    journal.write(self._database, other, {subject: None})
            journal.write(self._database, job_id, {subject: True})

    def close(self, job_id: int, outcome: str, note: str = "") -> None:
        """Close a job with what came of it."""
        _known(outcome, model.OUTCOMES, "a job ends as one of")
        words = sentence_of("The note", note) if note else ""
        self._write(job_id, {"closed": {"outcome": outcome, "note": words}})

    def reopen(self, job_id: int) -> None:
        self._write(job_id, {"closed": None})

    def _write(self, job_id: int, subjects: Mapping[str, Any]) -> int:
        with self._database.writing():
            return journal.write(self._database, job_id, subjects)

    def _add(self, job_id: int, kind: str, value: Any) -> int:
        with self._database.writing():
            subject = journal.next_item(self._database, job_id, kind)
            journal.write(self._database, job_id, {subject: value})
        return int(subject.rpartition("/")[2])

    def _subjects(self, told: Mapping[str, str | None]) -> dict[str, Any]:
        return {name: _kept(name, text) for name, text in told.items() if text is not None}

    def _kept_log(self, path: Path) -> dict[str, Any]:
        from emberbed.jobs.temperature_log import read_log  # numpy: only when it is needed

        octets, log = read_log(path)
        kept = keep_bytes(self._database, octets, path.name, ".csv")
        return {**kept._asdict(), **log, "columns": [asdict(column) for column in log["columns"]]}

    def _number(self, number: str | int) -> int:
        if number == LAST:
            known = [one.job_id for one in journal.journals(self._database)]
            if not known:
                raise StoreError(
                    f"{self._database.path} has no jobs yet; open one with: emberbed job new BOARD"
                )
            return known[-1]
        text = str(number)
        if not (text.isascii() and text.isdigit() and len(text) < 19):
            raise StoreError(
                f"{self._database.path} has no job {printable(text) or repr('')}; see those it has"
                " with: emberbed job list"
            )
        return int(text)

    def _job_of(self, one: journal.Journal) -> model.Job:
        try:
            return model.job_of(one)
        except (KeyError, TypeError, ValueError, InvalidOperation):
            raise StoreError(
                f"{self._database.path} has a damaged entry in job {one.job_id}; keep a copy of it"
                " and name another file with --store"
            ) from None


def whole_minutes(text: str) -> int:
    """Read minutes as typed; NotReady names the mend."""
    short = text.isascii() and text.isdigit() and len(text) <= len(str(MOST_MINUTES))
    if not short or int(text) > MOST_MINUTES:
        such = f"write whole minutes, 0 to {MOST_MINUTES}"
        raise NotReady([f"--minutes {printable(text)} is no time: {such}"])
    return int(text)


def _kept(name: str, text: str) -> Any:
    if text == "" and name != "board":
        return None
    if name == "minutes":
        return whole_minutes(text)
    if name == "worth":
        return str(amount("--worth", text))
    if name in _NAMES:
        return name_of(_NAMES[name], text)
    return sentence_of(_SENTENCES[name], text)


def _known(name: str, known: Mapping[str, str], otherwise: str) -> None:
    if name not in known:
        mend = did_you_mean(name, known, otherwise)
        raise NotReady([f'"{printable(name)}" is not known; {mend}'])


def _check_room(there: int, what: str) -> None:
    if there >= MOST_ITEMS:
        raise NotReady([f"A job keeps at most {MOST_ITEMS} {what}: take one back first"])
