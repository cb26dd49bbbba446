"""Make foreign text safe to show, and find the name somebody meant.

Text out of files, devices and command lines may hold control characters that move a terminal's
cursor or hide other text; everything shown passes through `printable` first.
"""

import unicodedata
from collections.abc import Iterable
from difflib import get_close_matches

_HIDDEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}  # control, format, surrogate, ..., separators
_MOST_SHOWN = 60
_NEAR_ENOUGH = 0.6  # difflib's own default, kept here so that it is one number


def hidden_characters(text: str) -> list[str]:
    """Return the characters of `text` that must not reach a screen, in order."""
    return [letter for letter in text if unicodedata.category(letter) in _HIDDEN]


def printable(text: object, most: int = _MOST_SHOWN) -> str:
    """Return `text` without hidden characters, cut to `most` characters."""
    # cut first as well: the text may be a whole damaged file
    shown = str(text)[: 4 * most]
    shown = "".join(letter for letter in shown if unicodedata.category(letter) not in _HIDDEN)
    return shown if len(shown) <= most else shown[: most - 3] + "..."


def near_names(wanted: str, known: Iterable[str], most: int = 3) -> list[str]:
    """Return the `known` names nearest to `wanted`, best first, blind to upper and lower case."""
    by_fold = {name.casefold(): name for name in known}
    folded = wanted[:_MOST_SHOWN].casefold()
    return [by_fold[name] for name in get_close_matches(folded, by_fold, most, _NEAR_ENOUGH)]


def did_you_mean(wanted: str, known: Iterable[str], otherwise: str) -> str:
    """Return the mend for a misspelt name: the near ones, or `otherwise` and all of them."""
    names = list(known)
    near = near_names(wanted, names)
    if near:
        return "did you mean " + " or ".join(f'"{printable(name)}"' for name in near) + "?"
    return f"{otherwise} {', '.join(printable(name) for name in names)}"
