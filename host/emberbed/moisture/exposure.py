"""Floor-life bookkeeping: which part was out of its bag for how long, from a log of events.

`Event`s are lines of a CSV file that is only added to. `standing_of` counts the hours in the room
since the part was last dry: opened or taken out starts the clock, dry storage stops it and turns
nothing back, a bake of the table's time sets it to zero. Times in UTC, hours, mm, degrees C.
A room warmer or damper than 30 °C and 60 % RH shortens the floor life; that is not counted here.
"""

import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from emberbed.moisture.bake import bake_time, spoken_hours
from emberbed.moisture.tables import THICKEST_MM, FloorLife, NoSuchRow, floor_life, level_of
from emberbed.plain_text import hidden_characters, printable

KINDS = {
    "opened": "its bag was opened",
    "dry": "put into dry storage",
    "out": "taken out of dry storage",
    "baked": "baked",
}
COLUMNS = ("when_utc", "part", "event", "level", "thickness_mm", "oven_c", "hours")
LONG_BEYOND_H = 72.0  # beyond its floor life by more, and a part counts as saturated
LONGEST_NAME = 40
DAYS_FROM_H = 1000.0
MOST_HOURS = 2000
MOST_BYTES = 4 * 1024 * 1024


class LogFault(Exception):
    """The log cannot be used; the text is one sentence with place and mend."""


@dataclass(frozen=True)
class Event:
    """One line of the log; `oven_c` and `hours` belong to a bake."""

    when: datetime
    part: str
    kind: str
    level: str
    thickness_mm: float
    oven_c: float | None = None
    hours: float | None = None


@dataclass(frozen=True)
class Standing:
    """How a part stands: `used_h` of its floor life; `notes` say what the log cannot prove."""

    part: str
    level: str
    thickness_mm: float
    life: FloorLife
    used_h: float
    out_now: bool
    notes: tuple[str, ...]

    @property
    def left_h(self) -> float | None:
        """Return what is left, below 0 when it is over, None for no end."""
        return None if self.life.hours is None else self.life.hours - self.used_h

    @property
    def saturated(self) -> bool:
        """Tell whether it must be baked as one that took up all the water it can."""
        left_h = self.left_h
        return left_h is not None and left_h < -LONG_BEYOND_H

    def sentence(self) -> str:
        """Return it for a person."""
        opening = f"{printable(self.part)}, level {self.level}, {self.thickness_mm:g} mm:"
        where = "out in the room" if self.out_now else "in dry storage"
        left_h = self.left_h
        if left_h is None:
            return f"{opening} {where}, its floor life has no end"
        if self.life.hours == 0:
            return f"{opening} {where}; bake it before use and keep to the time on its label"
        if left_h < 0:
            return (
                f"{opening} {where}, its floor life is over by {_shown(-left_h)}; bake it"
                " before any heat"
            )
        return (
            f"{opening} {where}, {_shown(self.used_h)} of"
            f" {_shown(self.life.hours or 0)} used, {_shown(left_h)} left"
        )


def _shown(hours: float) -> str:
    """Return hours of a floor life: the bag says hours, a year is days."""
    return spoken_hours(hours, DAYS_FROM_H)


def standing_of(events: Sequence[Event], now: datetime) -> Standing:
    """Return how one part stands at `now`; its events in order of time."""
    used_h, out_since = 0.0, None
    notes: list[str] = []  # of the last bake
    for event in events:
        if out_since is not None and event.kind in ("dry", "baked"):
            used_h += _hours(out_since, event.when)
        goes_out = event.kind in ("opened", "out")
        out_since = (out_since or event.when) if goes_out else None
        if event.kind == "baked":
            enough, said = _bakes_dry(event, used_h)
            used_h = 0.0 if enough else used_h
            notes = [said] if said else []
    if out_since is not None:
        used_h += _hours(out_since, now)
    last = events[-1]
    life = floor_life(last.level)
    return Standing(
        last.part, last.level, last.thickness_mm, life, used_h, out_since is not None, tuple(notes)
    )


def standings(events: Iterable[Event], now: datetime) -> list[Standing]:
    """Return how every part of a log stands, in the order in which they came into it."""
    by_part: dict[str, list[Event]] = {}
    for event in events:
        by_part.setdefault(event.part, []).append(event)
    return [standing_of(part, now) for part in by_part.values()]


def _hours(since: datetime, until: datetime) -> float:
    return max(0.0, (until - since).total_seconds() / 3600)


def _bakes_dry(event: Event, used_h: float) -> tuple[bool, str]:
    life = floor_life(event.level).hours
    saturated = life is None or used_h > life + LONG_BEYOND_H
    oven_c, hours = event.oven_c or 0.0, event.hours or 0.0
    try:
        needed = bake_time(event.level, event.thickness_mm, oven_c, saturated)
    except NoSuchRow as why:
        return False, f"its bake is not counted: {why}"
    if not hours >= needed.sure_hours:
        return False, (
            f"its bake of {spoken_hours(hours)} at {oven_c:g} °C is not counted: the table asks"
            f" for {spoken_hours(needed.sure_hours)}"
        )
    return True, ""


def read_log(path: Path) -> list[Event]:
    """Read a log; a file that is not there is an empty one. Raises LogFault."""
    shown = printable(path, 200)
    try:
        if not path.exists():
            return []
        if path.stat().st_size > MOST_BYTES:
            raise LogFault(f"{shown}: more than {MOST_BYTES >> 20} MiB; name another with --log")
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as why:
        raise LogFault(f"{shown} cannot be read ({printable(why, 80)}); mend that") from None
    rows = csv.reader(io.StringIO(text))
    heads = next(rows, None)
    if heads is not None and tuple(heads) != COLUMNS:
        raise LogFault(f"{shown}:1: the columns are not {','.join(COLUMNS)}; name another --log")
    events = [_event(shown, rows.line_num, row) for row in rows if row]
    for number, (earlier, later) in enumerate(zip(events, events[1:], strict=False), 3):
        if later.when < earlier.when:
            raise LogFault(f"{shown}:{number}: this is earlier than the line before; sort them")
    return events


def add_event(path: Path, event: Event) -> None:
    """Put an event at the log's end. Raises LogFault, the log is whole then."""
    before = [one for one in read_log(path) if one.part == event.part]
    if event.kind != "opened" and not before:
        raise LogFault(
            f'{printable(path, 200)} knows no part "{printable(event.part)}"; begin with opened'
        )
    if before and event.when < before[-1].when:
        raise LogFault(
            f"{event.when:%Y-%m-%d %H:%M} UTC is before the last line of"
            f" {printable(event.part)} ({before[-1].when:%Y-%m-%d %H:%M} UTC); write a later time"
        )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        new = not path.exists() or path.stat().st_size == 0
        with path.open("a", encoding="utf-8", newline="") as file:
            out = csv.writer(file)
            if new:
                out.writerow(COLUMNS)
            out.writerow(_row(event))
    except OSError as why:
        raise LogFault(f"{printable(path, 200)} cannot be written ({why.strerror})") from None


def event_of(
    log: Sequence[Event],
    part: str,
    kind: str,
    level: str | None,
    thickness_mm: float | None,
    oven_c: float | None,
    hours: float | None,
    when: datetime,
) -> Event:
    """Return an event as a person tells it; level and thickness are asked for once a part.

    Raises LogFault, or NoSuchRow for a level that does not exist.
    """
    named = part.strip()
    if not named or len(named) > LONGEST_NAME or hidden_characters(named):
        raise LogFault(f"a part's name has 1 to {LONGEST_NAME} visible characters; write another")
    if kind not in KINDS:
        raise LogFault(f'"{printable(kind, 20)}" is no event; write {", ".join(KINDS)}')
    before = next((one for one in reversed(log) if one.part == named), None)
    if level is None or thickness_mm is None:
        if before is None:
            raise LogFault(
                f"{printable(named)} is new: say what it is with --level 3 --thickness 1.2"
            )
        level, thickness_mm = level or before.level, thickness_mm or before.thickness_mm
    if not 0 < thickness_mm <= THICKEST_MM:
        raise LogFault(f"--thickness {thickness_mm:g} is no body in mm: up to {THICKEST_MM:g}")
    if (kind == "baked") != (oven_c is not None and hours is not None):
        raise LogFault("only a bake has a temperature and a time: write --oven 125 --hours 9")
    if hours is not None and not 0 < hours <= MOST_HOURS:
        raise LogFault(f"--hours {hours:g} is no bake; write hours above 0, at most {MOST_HOURS}")
    return Event(when, named, kind, level_of(level), thickness_mm, oven_c, hours)


def _row(event: Event) -> list[str]:
    baked = ["" if one is None else f"{one:g}" for one in (event.oven_c, event.hours)]
    when = event.when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    return [when, event.part, event.kind, event.level, f"{event.thickness_mm:g}", *baked]


def _event(shown: str, line: int, row: list[str]) -> Event:
    try:
        when, part, kind, level, thickness, oven, hours = row
        if kind not in KINDS:
            raise ValueError(f'"{printable(kind, 20)}" is no event; write {", ".join(KINDS)}')
        return Event(
            datetime.fromisoformat(when.replace("Z", "+00:00")),
            part,
            kind,
            level_of(level),
            float(thickness),
            float(oven) if oven else None,
            float(hours) if hours else None,
        )
    except ValueError as why:
        raise LogFault(f"{shown}:{line}: {printable(why, 120)}; mend this line") from None
