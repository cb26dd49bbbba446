"""A job of the bench as its journal tells it: what came in, what was done, what came of it.

Times are UTC in ISO 8601, durations in minutes or seconds, amounts decimal in the bench's currency.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from emberbed.jobs.journal import Journal

# what a board can leave the bench as, and the words for it
WORKS, PARTLY, FAILS, NOT_TRIED = "works", "partly", "fails", "not_tried"
OUTCOMES = {
    WORKS: "works",
    PARTLY: "works in part",
    FAILS: "does not work",
    NOT_TRIED: "not tried",
}
# when a photograph was taken, or what of
BEFORE, AFTER, SENSORS, OTHER = "before", "after", "sensors", "other"
PHOTO_KINDS = {
    BEFORE: "before the work",
    AFTER: "after the work",
    SENSORS: "where the sensors lay",
    OTHER: "something else",
}
FUNCTIONAL, LOAD = "functional", "load"
TEST_KINDS = {FUNCTIONAL: "functional test", LOAD: "load test"}


@dataclass(frozen=True)
class Part:
    """`each` is what one of them cost, None where nobody said."""

    number: int
    name: str
    count: int
    each: Decimal | None

    def cost(self) -> Decimal | None:
        return None if self.each is None else self.count * self.each


@dataclass(frozen=True)
class PhotoEntry:
    """`file` is the kept copy's name, `name` what the file was called."""

    number: int
    kind: str  # of PHOTO_KINDS
    file: str
    name: str
    note: str
    added_utc: str


@dataclass(frozen=True)
class LogColumn:
    """One sensor of a temperature log; the mean is over time, not over rows."""

    name: str
    peak_c: float
    mean_c: float
    readings: int


@dataclass(frozen=True)
class TestLog:
    """A temperature log that came from a file; the copy is kept."""

    __test__ = False  # no test of ours, whatever pytest thinks of its name

    file: str
    name: str
    rows: int
    seconds: float
    columns: tuple[LogColumn, ...]


@dataclass(frozen=True)
class TestEntry:
    __test__ = False

    number: int
    kind: str  # of TEST_KINDS
    passed: bool
    note: str
    minutes: int | None
    log: TestLog | None
    tested_utc: str


@dataclass(frozen=True)
class Answer:
    """What was answered to a question of a checklist; `by_run` is the run before which it was
    confirmed, None for one that was typed."""

    answer: str  # of checklists.ANSWERS
    note: str
    answered_utc: str
    by_run: int | None = None


@dataclass(frozen=True)
class Job:
    """`minutes` is the time of a person's hands, `worth` what the working board is worth; both
    None where nobody said. `answers` by list and question, such as ('after', 'clean')."""

    id: int
    opened_utc: str
    board: str
    serial: str
    fault: str
    found: str
    minutes: int | None
    worth: Decimal | None
    outcome: str | None  # of OUTCOMES; None while it is open
    outcome_note: str
    closed_utc: str | None
    runs: tuple[int, ...]  # as they were joined; job_runs adds those that went on
    parts: tuple[Part, ...]
    photos: tuple[PhotoEntry, ...]
    tests: tuple[TestEntry, ...]
    answers: dict[tuple[str, str], Answer]

    def title(self) -> str:
        """Return what the job is called in a sentence."""
        serial = f", serial {self.serial}" if self.serial else ""
        return f"Job {self.id} ({self.board}{serial})"

    def photo(self, kind: str) -> PhotoEntry | None:
        """Return the newest photograph of a kind, None for none."""
        return next((one for one in reversed(self.photos) if one.kind == kind), None)


def job_of(journal: Journal) -> Job:
    """Return the job that a journal tells of.

    Raises KeyError, TypeError, ValueError or InvalidOperation for one that is damaged.
    """
    closed = journal.value("closed")
    worth, minutes = journal.value("worth"), journal.value("minutes")
    return Job(
        id=journal.job_id,
        opened_utc=journal.opened_utc,
        board=_text(journal.value("board", "")),
        serial=_text(journal.value("serial", "")),
        fault=_text(journal.value("fault", "")),
        found=_text(journal.value("found", "")),
        minutes=None if minutes is None else int(minutes),
        worth=None if worth is None else Decimal(worth),
        outcome=None if closed is None else _one_of(OUTCOMES, closed["outcome"]),
        outcome_note="" if closed is None else _text(closed["note"]),
        closed_utc=None if closed is None else journal.entries["closed"].entered_utc,
        runs=tuple(sorted(int(run_id) for run_id in journal.below("run"))),
        parts=tuple(_part(int(n), one.value) for n, one in journal.below("part").items()),
        photos=tuple(
            _photo(int(n), one.value, one.entered_utc) for n, one in journal.below("photo").items()
        ),
        tests=tuple(
            _test(int(n), one.value, one.entered_utc) for n, one in journal.below("test").items()
        ),
        answers={
            _question(at): Answer(**one.value, answered_utc=one.entered_utc)
            for at, one in journal.below("check").items()
        },
    )


def _question(at: str) -> tuple[str, str]:
    list_name, _, item_id = at.partition("/")
    return list_name, item_id


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError("text is needed")
    return value


def _one_of(known: Mapping[str, str], value: Any) -> str:
    if value not in known:
        raise ValueError("a word that this version does not know")
    return value


def _photo(number: int, value: dict[str, Any], added_utc: str) -> PhotoEntry:
    _one_of(PHOTO_KINDS, value["kind"])
    return PhotoEntry(number, **value, added_utc=added_utc)


def _part(number: int, value: dict[str, Any]) -> Part:
    each = value["each"]
    return Part(number, value["name"], value["count"], None if each is None else Decimal(each))


def _test(number: int, value: dict[str, Any], tested_utc: str) -> TestEntry:
    _one_of(TEST_KINDS, value["kind"])
    log = value["log"]
    made = None
    if log is not None:
        made = TestLog(**{**log, "columns": tuple(LogColumn(**one) for one in log["columns"])})
    return TestEntry(number, **{**value, "log": made}, tested_utc=tested_utc)
