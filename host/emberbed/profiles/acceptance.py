"""Warnings that a person accepts, once for each revision of a profile, with a reason.

An acceptance stands in the profile itself, as an [[accepted]] table: which warning, of which
revision (the fingerprint of all that the profile says besides), and why. So it goes wherever the
profile goes, into the run's record too, and no longer counts once anything else is changed.
"""

import json
from collections.abc import Mapping
from hashlib import sha256
from typing import Any

from emberbed.plain_text import hidden_characters, printable
from emberbed.profiles.limits import MOST_ACCEPTED, TEXTS
from emberbed.profiles.source import ProfileSource
from emberbed.profiles.whole_rules import Location

KEY = "accepted"
_DIGITS = 8


class CannotAccept(ValueError):
    """The warning cannot be accepted; the text is one sentence with the mend."""


def fingerprint(data: Mapping[str, Any]) -> str:
    """Return what names a revision: all of a profile's data but its acceptances."""
    told = {key: value for key, value in data.items() if key != KEY}
    text = json.dumps(told, sort_keys=True, ensure_ascii=False, default=str)
    return sha256(text.encode("utf-8", "replace")).hexdigest()[:_DIGITS]


def name_of(rule: str, location: Location) -> str:
    """Return what an acceptance calls a warning: its rule, and where it stands."""
    place = list(location)
    if place[:1] == ["stages"] and len(place) > 1 and isinstance(place[1], int):
        place[:2] = [f"stage {place[1] + 1}"]
    elif place[:1] == ["sensors"] and len(place) > 1:
        place[:2] = [f"sensor {place[1]}"]
    where = " ".join(str(step) for step in place)
    return f"{rule} at {where}"[: TEXTS["what"]] if where else rule


def reasons(source: ProfileSource) -> dict[str, str]:
    """Return the reasons that count for this revision, by the names of the warnings."""
    now = fingerprint(source.data)
    rows = source.data.get(KEY, [])
    return {row["what"]: row["reason"] for row in rows if row["of"] == now}


def lapsed(source: ProfileSource) -> list[int]:
    """Return the numbers of the acceptances of another revision."""
    now = fingerprint(source.data)
    return [n for n, row in enumerate(source.data.get(KEY, [])) if row["of"] != now]


def with_acceptance(source: ProfileSource, text: str, what: str, reason: str) -> str:
    """Return the profile's own `text` with one more acceptance at its end. Raises CannotAccept."""
    shown = reason.strip()
    if not shown or len(shown) > TEXTS["reason"] or hidden_characters(shown):
        raise CannotAccept(
            f"the reason has 1 to {TEXTS['reason']} visible characters; write one that you would"
            " tell the board's owner"
        )
    if len(source.data.get(KEY, [])) >= MOST_ACCEPTED:
        raise CannotAccept(
            f"{source.shown}: it holds {MOST_ACCEPTED} acceptances already; take the old ones out"
        )
    lines = [
        "",
        f"[[{KEY}]]",
        f"what = {json.dumps(printable(what, TEXTS['what']), ensure_ascii=False)}",
        f'of = "{fingerprint(source.data)}"',
        f"reason = {json.dumps(shown, ensure_ascii=False)}",
        "",
    ]
    return (text if text.endswith("\n") else f"{text}\n") + "\n".join(lines)
