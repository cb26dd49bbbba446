"""What a bundled job may say of each subject of the bench record; anything else is refused.

Subjects and values are those that `jobs/book.py` writes. Amounts of money do not travel.
"""

import re
from collections.abc import Callable, Container
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints, TypeAdapter

from emberbed.heater.csv_checks import HIGHEST_C, LOWEST_C
from emberbed.jobs.book import MOST_COUNT, MOST_MINUTES
from emberbed.jobs.checklists import ANSWERS
from emberbed.jobs.model import OUTCOMES, PHOTO_KINDS, TEST_KINDS
from emberbed.jobs.plain_entries import MOST_NAME, MOST_SENTENCE
from emberbed.jobs.temperature_log import MOST_SENSORS
from emberbed.plain_text import hidden_characters

MOST_FILE_NAME = 120  # characters, as kept_files keeps them
MOST_LOG_S = 1e9
_SUBJECT = re.compile(
    r"(board|serial|fault|found|minutes|closed)|(photo|part|test)/[1-9][0-9]{0,5}"
    r"|(check)/(before|after|test)/[a-z][a-z0-9_]{0,29}"
)


def _plain(value: str) -> str:
    if hidden_characters(value):
        raise ValueError("hidden characters")
    return value


def _one_of(known: Container[str]) -> Callable[[str], str]:
    def word(value: str) -> str:
        if value not in known:
            raise ValueError("a word that is not known")
        return value

    return word


Name = Annotated[str, StringConstraints(min_length=1, max_length=MOST_NAME), AfterValidator(_plain)]
Sentence = Annotated[
    str, StringConstraints(min_length=1, max_length=MOST_SENTENCE), AfterValidator(_plain)
]
Note = Annotated[str, StringConstraints(max_length=MOST_SENTENCE), AfterValidator(_plain)]
FileName = Annotated[str, StringConstraints(max_length=MOST_FILE_NAME), AfterValidator(_plain)]
PhotoFile = Annotated[str, StringConstraints(pattern=r"\A[0-9a-f]{64}\.jpg\z")]
LogFile = Annotated[str, StringConstraints(pattern=r"\A[0-9a-f]{64}\.csv\z")]
Minutes = Annotated[int, Field(ge=0, le=MOST_MINUTES)]
Celsius = Annotated[float, Field(ge=LOWEST_C, le=HIGHEST_C, allow_inf_nan=False)]
Seconds = Annotated[float, Field(gt=0, le=MOST_LOG_S, allow_inf_nan=False)]
Count = Annotated[int, Field(ge=1)]


class _Value(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid")


class _Photo(_Value):
    kind: Annotated[str, AfterValidator(_one_of(PHOTO_KINDS))]
    note: Note
    file: PhotoFile
    name: FileName


class _Part(_Value):
    name: Name
    count: Annotated[int, Field(ge=1, le=MOST_COUNT)]
    each: None


class _Column(_Value):
    name: FileName
    peak_c: Celsius
    mean_c: Celsius
    readings: Count


class _Log(_Value):
    file: LogFile
    name: FileName
    rows: Count
    seconds: Seconds
    columns: Annotated[list[_Column], Field(min_length=1, max_length=MOST_SENSORS)]


class _Test(_Value):
    kind: Annotated[str, AfterValidator(_one_of(TEST_KINDS))]
    passed: bool
    note: Note
    minutes: Minutes | None
    log: _Log | None


class _Answer(_Value):
    answer: Annotated[str, AfterValidator(_one_of(ANSWERS))]
    note: Note


class _Closed(_Value):
    outcome: Annotated[str, AfterValidator(_one_of(OUTCOMES))]
    note: Note


_STRICT = ConfigDict(strict=True)
_VALUES: dict[str, TypeAdapter[Any]] = {
    "board": TypeAdapter(Name, config=_STRICT),
    "serial": TypeAdapter(Name, config=_STRICT),
    "fault": TypeAdapter(Sentence, config=_STRICT),
    "found": TypeAdapter(Sentence, config=_STRICT),
    "minutes": TypeAdapter(Minutes, config=_STRICT),
    "closed": TypeAdapter(_Closed),
    "photo": TypeAdapter(_Photo),
    "part": TypeAdapter(_Part),
    "test": TypeAdapter(_Test),
    "check": TypeAdapter(_Answer),
}


def check_entry(subject: str, value: Any) -> None:
    """Raise ValueError for a subject that no job has, or a value that none says of it."""
    found = _SUBJECT.fullmatch(subject)
    if found is None:
        raise ValueError("its job speaks of what no job does")
    kind = next(group for group in found.groups() if group)
    try:
        _VALUES[kind].validate_python(value)
    except ValueError:
        raise ValueError(f"what its job says of {subject} is not what one says") from None


def file_of(value: Any) -> str | None:
    """Return the file that a checked value names, None for none."""
    if not isinstance(value, dict):
        return None
    log = value.get("log")
    return log["file"] if log else value.get("file")
