"""Say each mistake in the shape of a profile in one plain sentence: place, rule, mend.

Takes the bare data of a TOML file and gives sentences, in the order of the file. The wording hangs
on the key, not on how the validating library calls the fault, so that library may change.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel, ValidationError

from emberbed.plain_text import did_you_mean, near_names, printable
from emberbed.profiles.limits import DIFFERENCES, RANGES
from emberbed.profiles.model import ROLES, STAGE_MODELS, Accepted, Board, Chip, Profile, Sensor
from emberbed.profiles.source import ProfileSource
from emberbed.profiles.value_words import TABLES, choice_mend, expected, shown, value_text
from emberbed.profiles.whole_rules import Location, as_table, whole_mistakes
from emberbed.profiles.written_numbers import celsius
from emberbed_fw.plan import MAX_STAGES
from emberbed_fw.settings import NAME_BYTES

MOST_SENTENCES = 50
UNKNOWN, MISSING = "extra_forbidden", "missing"  # as the validating library calls them
KINDS = tuple(STAGE_MODELS)
_KEY = "[key]"  # what the library puts behind a name that is itself the mistake
_ONE_OF_A_LIST = ("needs", "marks")
_WITHIN: dict[str, type[BaseModel]] = {
    "board": Board,
    "chip": Chip,
    "sensors": Sensor,
    "accepted": Accepted,
}
_Found = tuple[Location, str]


def shape_sentences(source: ProfileSource) -> tuple[Profile | None, list[str]]:
    """Return the profile, or None and a sentence for every mistake in its shape."""
    found = [*_stage_list_mistakes(source.data), *_whole(source.data)]
    profile = None
    try:
        profile = Profile.model_validate(_short_enough(source.data))
    except ValidationError as errors:
        found += _key_mistakes(errors, source.data)
    if profile is None and not found:
        found.append(((), "this is no profile; compare it with a shipped one"))
    return (None, _in_order(source, found)) if found else (profile, [])


def _in_order(source: ProfileSource, found: list[_Found]) -> list[str]:
    found = sorted(found, key=lambda one: source.line_of(one[0]) or 0)
    return capped(source.shown, [source.place(location) + text for location, text in found])


def capped(shown_name: str, sentences: list[str]) -> list[str]:
    """Return the first of many sentences, and how many more there are."""
    more = len(sentences) - MOST_SENTENCES
    if more <= 0:
        return sentences
    last = f"{shown_name}: {more} more mistakes follow; mend these first"
    return [*sentences[:MOST_SENTENCES], last]


def _stages_of(data: Mapping[str, Any]) -> list[Any]:
    stages = data.get("stages")
    return stages if isinstance(stages, list) else []


def _short_enough(data: dict[str, Any]) -> dict[str, Any]:
    """Leave out stages beyond number: 10,000 stages are one mistake, not 10,000."""
    return {**data, "stages": []} if len(_stages_of(data)) > MAX_STAGES else data


def _stage_list_mistakes(data: Mapping[str, Any]) -> Iterator[_Found]:
    stages = _stages_of(data)
    if len(stages) > MAX_STAGES:
        text = f"there are {len(stages)} stages and at most {MAX_STAGES} are allowed"
        yield ("stages", MAX_STAGES), f"{text}; drop this one and all after it, or join some"
        return
    for index, stage in enumerate(stages):
        if not isinstance(stage, dict):
            yield ("stages", index), f"{shown(stage)} is no stage; write {TABLES['stages']}"
        elif stage.get("kind") not in KINDS:
            location = ("stages", index, "kind") if "kind" in stage else ("stages", index)
            yield location, _kind_text(stage)


def _kind_text(stage: dict[str, Any]) -> str:
    kind = stage.get("kind")
    if kind is None:
        return f"the key kind is missing; add one of {', '.join(KINDS)}"
    mend = did_you_mean(kind if isinstance(kind, str) else "", KINDS, "the kinds are")
    return f"the kind {shown(kind)} is not known; {mend}"


def _whole(data: Mapping[str, Any]) -> Iterator[_Found]:
    stages, sensors = _stages_of(data), data.get("sensors")
    tables = [_only_known(stage, "kind", KINDS) for stage in stages]
    roles = None
    if isinstance(sensors, dict):
        roles = {name: _only_known(as_table(one), "role", ROLES) for name, one in sensors.items()}
    judged = isinstance(data.get("stages"), list) and len(stages) <= MAX_STAGES
    for location, text in whole_mistakes(tables if judged else [], roles):
        if judged or location[0] != "stages":
            yield location, text


def _only_known(table: Any, key: str, known: tuple[str, ...]) -> dict[str, Any]:
    """Return a table of the file with None for a word under `key` that is itself a mistake."""
    if not isinstance(table, dict):
        return {key: None}
    return {**table, key: table.get(key) if table.get(key) in known else None}


def _key_mistakes(errors: ValidationError, data: Mapping[str, Any]) -> Iterator[_Found]:
    told = errors.errors(include_url=False, include_context=False)
    meant = {near for error in told if error["type"] == UNKNOWN for near in _meant(error)}
    for error in told:
        location, model = _place_of(error)
        if model is None or (error["type"] == MISSING and location in meant):
            continue  # told by the rules of the whole, or by its misspelt name
        yield _key_mistake(model, location, error, data)


def _place_of(error: Any) -> tuple[Location, type[BaseModel] | None]:
    """Return the location in the file, and the shape of the table there; None: told elsewhere."""
    location = tuple(error["loc"])
    if location[:1] == ("stages",) and len(location) > 2:  # the library puts the kind in between
        return location[:2] + location[3:], STAGE_MODELS[str(location[2])]
    if not location or (location[0] == "stages" and len(location) == 2):
        return location, None
    within = _WITHIN.get(str(location[0]), Profile)
    deep = 2 if within in (Sensor, Accepted) else 1  # by name, and by number
    return location, within if len(location) > deep else Profile


def _meant(error: Any) -> list[Location]:
    """Return the locations that a misspelt key may have been meant for."""
    location, model = _place_of(error)
    if model is None:
        return []
    names = near_names(str(location[-1]), model.model_fields)
    names += filter(None, [_in_celsius(model, str(location[-1]))])
    return [(*location[:-1], name) for name in names]


def _key_mistake(
    model: type[BaseModel], location: Location, error: Any, data: Mapping[str, Any]
) -> _Found:
    if location[-1] == _KEY:
        return location[:2], _sensor_name_text(location[1])
    if location[0] == "sensors" and len(location) == 3 and location[2] == "role":
        written = data["sensors"][location[1]]
        if not isinstance(written, dict):  # the short form
            return location[:2], _role_text(str(location[1]), written)
    return location, _key_text(model, location, error)


def _key_text(model: type[BaseModel], location: Location, error: Any) -> str:
    key = str(location[-1])
    if location[-2:-1] in [(name,) for name in _ONE_OF_A_LIST]:
        return _list_text(str(location[-2]), error["input"])
    if error["type"] == UNKNOWN:
        mend = _key_mend(model, key, error["input"])
        return f'the key "{printable(key)}" is not known here; {mend}'
    if error["type"] == MISSING:
        return f"the key {key} is missing; add {expected(key)}"
    return value_text(key, error["input"])


def _list_text(key: str, value: Any) -> str:
    if key == "marks":
        return f"marks does not know {shown(value)}; {choice_mend(key, value)}"
    return f"{key} holds {shown(value)}, which is no name; write {expected(key)}"


def _in_celsius(model: type[BaseModel], key: str) -> str | None:
    """Return the key for degrees C that a key for degrees F stands for, or None."""
    meant = f"{key.removesuffix('_f')}_c"
    return meant if key.endswith("_f") and meant in model.model_fields else None


def _key_mend(model: type[BaseModel], key: str, value: Any) -> str:
    meant = _in_celsius(model, key)
    if meant is None:
        return did_you_mean(key, model.model_fields, "the keys here are")
    mend = f"temperatures are in °C: write {meant}"
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 < value < 1000:
        return mend
    in_c = value / 1.8 if meant in DIFFERENCES else celsius(value)
    allowed = RANGES[meant]
    return f"{mend} = {in_c:.0f}" if allowed.least <= in_c <= allowed.most else mend


def _sensor_name_text(name: Any) -> str:
    return (
        f'"{printable(name)}" is no sensor name; use a letter first, then letters,'
        f" digits, _ or -, at most {NAME_BYTES} in all"
    )


def _role_text(name: str, value: Any) -> str:
    mend = did_you_mean(value if isinstance(value, str) else "", ROLES, "the roles are")
    return f"{printable(name)} = {shown(value)} is no role; {mend}"
