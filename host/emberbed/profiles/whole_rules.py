"""Rules about the profile as a whole: the order of its stages, and what names its sensors.

Works on bare tables, so that a file with other mistakes is still judged whole. A kind or role that
is itself a mistake is None and counts for nothing here; so does a value of a wrong type. Gives
(location, text) pairs; a location is the path of keys and indexes in the file.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from emberbed.profiles.sensor_shape import sensor_mistakes, unknown_names

Location = tuple[str | int, ...]
_Found = Iterator[tuple[Location, str]]
KEEPERS = ("hold", "wait", "hot_air")  # they keep the temperature of the ramp before
IDENTIFIES = "power"  # the kind of stages that drive a heater open loop


def as_table(sensor: Any) -> Any:
    """Return a sensor as a table: its bare role is short for a table with nothing else."""
    return sensor if isinstance(sensor, Mapping) else {"role": sensor}


def whole_mistakes(
    stages: Sequence[Mapping[str, Any]], sensors: Mapping[str, Mapping[str, Any]] | None
) -> _Found:
    """Yield every mistake in the order of `stages` and in `sensors` (None: they are not judged)."""
    kinds = [stage.get("kind") for stage in stages]
    yield from _stage_mistakes(kinds)
    if IDENTIFIES in kinds:
        yield from _power_mistakes(stages, kinds)
    if sensors is None:
        return
    yield from sensor_mistakes(sensors)
    for index, stage in enumerate(stages):
        if stage.get("kind") == "hold":
            yield from unknown_names(("stages", index, "needs"), stage.get("needs"), sensors)


def _stage_mistakes(kinds: Sequence[str | None]) -> _Found:
    if not kinds:
        yield ("stages",), "there is no stage; write at least one ramp and a cool at the end"
        return
    if "ramp" not in kinds and None not in kinds and IDENTIFIES not in kinds:
        yield ("stages",), "there is no ramp; write one before the cool, or nothing is heated"
    for index in range(len(kinds) - 1):
        if kinds[index] == "cool":
            yield ("stages", index), "only the last stage may be a cool; move it to the end"
    if kinds[-1] not in ("cool", None):
        yield ("stages", len(kinds) - 1), "a profile ends with a cool; add one after this stage"
    for index, kind in enumerate(kinds):
        if kind in ("ramp", IDENTIFIES, None):
            return
        if kind in KEEPERS:
            yield (
                ("stages", index),
                f"a {kind} keeps the temperature of the ramp before it, and there is none;"
                " put a ramp first",
            )


def _power_mistakes(stages: Sequence[Mapping[str, Any]], kinds: Sequence[str | None]) -> _Found:
    first = kinds.index(IDENTIFIES)
    odd = next((kind for kind in kinds if kind not in (IDENTIFIES, "cool", None)), None)
    if odd is not None:
        yield (
            ("stages", first),
            f"a {IDENTIFIES} stage is for identifying a heater, in a profile of nothing but"
            f" {IDENTIFIES} stages and a cool, and there is a {odd} too; heat boards with ramp and"
            " hold",
        )
    elif all(stage.get("percent") == 0 for stage, kind in zip(stages, kinds, strict=True)
             if kind == IDENTIFIES):  # fmt: skip
        yield (
            ("stages", first, "percent"),
            f"every {IDENTIFIES} stage has percent = 0, so nothing is heated; write more in one",
        )
