"""The signs of an audit, one line for each kind: what was changed a hundred times is said once."""

import re

_DIFFERS = re.compile(r"\b\d+\b|\bNone\b|(?<=says ).*")  # from one sign of a kind to the next


def grouped_signs(signs: list[str]) -> list[str]:
    """Return the first sign of each kind, with how many more there are of it."""
    kinds: dict[str, list[str]] = {}
    for sign in signs:
        kinds.setdefault(_DIFFERS.sub("", sign), []).append(sign)
    return [
        f"{first} And {len(more)} more like this." if more else first
        for first, *more in kinds.values()
    ]
