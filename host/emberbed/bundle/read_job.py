"""The job that a bundle brings: its entries and files, each checked for its kind.

Whether it is true nothing proves: the run's fingerprint does not cover it. ValueError for what is
not of its kind.
"""

import hashlib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

from emberbed.bundle import kinds, layout
from emberbed.bundle.job_values import check_entry, file_of
from emberbed.jobs.book import MOST_ITEMS


class BundledEntry(NamedTuple):
    """What was told of one subject, and when (UTC, as the store writes it)."""

    entered_utc: str
    subject: str
    value: Any


@dataclass(frozen=True)
class BundledJob:
    """`number` is its number in its own store; `files` the bytes by their name."""

    number: int
    opened_utc: str
    entries: tuple[BundledEntry, ...]
    files: Mapping[str, bytes]


def read_job(entries: Mapping[str, bytes]) -> BundledJob:
    """Return the job in a bundle's entries."""
    told = kinds.parsed(entries[layout.JOB])
    found = tuple(
        BundledEntry(_time(entered_utc), kinds.text(subject), value)
        for entered_utc, subject, value in kinds.rows(told, "entries", 3, layout.MOST_JOB_ENTRIES)
    )
    for one in found:
        check_entry(one.subject, one.value)
    _check_subjects([one.subject for one in found])
    folder = layout.JOB_FOLDER
    files = {n.removeprefix(folder): octets for n, octets in entries.items() if folder in n}
    _check_files(files, {file_of(one.value) for one in found} - {None})
    return BundledJob(kinds.number(told["job"], 1), _time(told["opened_utc"]), found, files)


def _time(value: Any) -> str:
    """Return a time as the store writes it, so that two of them compare as text."""
    when = datetime.fromisoformat(kinds.text(value))
    if when.utcoffset() != timedelta(0) or when.isoformat(timespec="milliseconds") != value:
        raise ValueError("a time of its job is none")
    return value


def _check_subjects(subjects: list[str]) -> None:
    per_kind = Counter(subject.partition("/")[0] for subject in subjects)
    most = max((per_kind[kind] for kind in ("photo", "part", "test")), default=0)
    if len(set(subjects)) != len(subjects) or per_kind["board"] != 1 or most > MOST_ITEMS:
        raise ValueError("its job does not tell each thing once")


def _check_files(files: Mapping[str, bytes], named: set[str | None]) -> None:
    if set(files) != named:
        raise ValueError("its job's files are not those that it names")
    for name, octets in files.items():
        if hashlib.sha256(octets).hexdigest() != name.partition(".")[0]:
            raise ValueError("a file of its job is not as it was")
        if name.endswith(".jpg"):
            _check_photo(octets)


def _check_photo(octets: bytes) -> None:
    from emberbed.report.photos import PhotoError, photo_of  # pillow: only when it is needed

    try:
        photo_of(octets, Path("photograph"))
    except PhotoError:
        raise ValueError("a photograph of its job is none") from None
