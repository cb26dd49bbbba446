"""The made parts of profiles.md: every key of a profile. Each function returns a block's text."""

from collections.abc import Iterator, Sequence

from pydantic import BaseModel

from emberbed import words
from emberbed.profiles import limits
from emberbed.profiles.model import (
    CHOICES,
    ROLES,
    STAGE_MODELS,
    Accepted,
    Board,
    Chip,
    Profile,
    Sensor,
)
from emberbed_fw.units import CHANNELS
from tests.docs.md_table import table

# where the default is worked out, or is no plain value
LEFT_OUT = {
    "longest_s": f"{limits.LONGEST_FACTOR:g} times the planned time, or the planned time and"
    f" {limits.LONGEST_SPARE_S:g} s, whichever is longer",
    "board": "unknown: its mass and the power it needs are not judged",
    "chip": "unknown: the weakest package counts",
    "accepted": "none",
    "part": "not told",
    "ceiling_c": "see Bounds",
    "limit_c": "see Bounds; a `neighbour` needs it",
    "pause_c": f"{limits.PAUSE_BELOW_LIMIT_C:g} below `limit_c`",
    "partner": "a `pair` needs it",
    "side": "not told",
    "zone": "see Zones",
    "needs": "none but `control`",
    "marks": '`["flux_on"]` where the prompt speaks of flux, else none',
}
PLAIN_KEYS = {
    "name": f"text, at most {limits.TEXTS['name']} characters",
    "prompt": f"text, at most {limits.TEXTS['prompt']} characters",
    "alloy": 'a name from the materials book, or `"unknown"`',
    "laminate": 'a name from the materials book, or `"unknown"`',
    "flux": 'a name from the materials book, or `"unknown"`',
    "part": "a neighbour from the materials book",
    "chip": "a table, see below",
    "accepted": "a list of tables, written by `check --accept`, see below",
    "what": f"the warning, at most {limits.TEXTS['what']} characters",
    "of": "fingerprint of the revision",
    "reason": f"why, at most {limits.TEXTS['reason']} characters",
    "board": "a table, see below",
    "sensors": f"channel name = role, or a table, at most {CHANNELS}, see below",
    "stages": "a list of tables, see below",
    "partner": "name of another sensor",
    "needs": "list of sensors of this profile",
    "marks": f"list of at most {limits.MOST_MARKS} of {', '.join(CHOICES['marks'])}",
    "in_jet": "true or false",
    "shielded": "true or false",
}


def profile_keys() -> str:
    rows = [
        *_key_rows(Profile, ""),
        *_key_rows(Board, "board."),
        *_key_rows(Chip, "chip."),
        *_key_rows(Accepted, "accepted."),
    ]
    return table(["key", "what it holds", "if left out"], iter(rows))


def sensor_keys() -> str:
    return table(["key", "what it holds", "if left out"], _key_rows(Sensor, ""))


def stage_keys() -> str:
    parts = []
    for kind, model in STAGE_MODELS.items():
        heading = f'`kind = "{kind}"`: {(model.__doc__ or "").strip()}\n\n'
        rows = _key_rows(model, "")
        parts.append(heading + table(["key", "what it holds", "if left out"], rows))
    return "\n".join(parts)


def _key_rows(model: type[BaseModel], before: str) -> Iterator[Sequence[object]]:
    for key, field in model.model_fields.items():
        if key == "kind":
            continue
        missing = "needed" if field.is_required() else _left_out(key, field.default)
        yield f"`{before}{key}`", _held(key), missing


def _held(key: str) -> str:
    if key in PLAIN_KEYS:
        return PLAIN_KEYS[key]
    return ", ".join(f"`{word}`" for word in CHOICES[key]) if key in CHOICES else _range_of(key)


def _left_out(key: str, default: object) -> str:
    if default is None or isinstance(default, list):
        return LEFT_OUT[key]
    if isinstance(default, bool):
        return str(default).lower()
    return f"{default:g}" if isinstance(default, float) else f'`"{default}"`'


def _range_of(key: str) -> str:
    allowed = limits.RANGES[key]
    return f"{allowed.least:g} to {allowed.most:g} {allowed.unit}".rstrip() + f" ({allowed.why})"


def roles() -> str:
    return table(["role", "meaning"], ((f"`{role}`", words.ROLES[role]) for role in ROLES))


BLOCKS = {
    "profile keys": profile_keys,
    "stage keys": stage_keys,
    "roles": roles,
    "sensor keys": sensor_keys,
}
