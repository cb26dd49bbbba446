"""Rules about the profile as a whole: the order of its stages and the roles of its sensors.

Works on bare kinds and roles, so that a file with other mistakes is still judged whole. A kind or
role that is itself a mistake is None and counts for nothing here. Gives (location, text) pairs; a
location is the path of keys and indexes in the file.
"""

from collections.abc import Iterator, Mapping, Sequence

Location = tuple[str | int, ...]


def whole_mistakes(
    kinds: Sequence[str | None], roles: Mapping[str, str | None] | None
) -> Iterator[tuple[Location, str]]:
    """Yield every mistake in the order of `kinds` and in `roles`."""
    yield from _stage_mistakes(kinds)
    if roles is not None:
        yield from _role_mistakes(roles)


def _stage_mistakes(kinds: Sequence[str | None]) -> Iterator[tuple[Location, str]]:
    if not kinds:
        yield ("stages",), "there is no stage; write at least one ramp and a cool at the end"
        return
    if "ramp" not in kinds and None not in kinds:
        yield ("stages",), "there is no ramp; write one before the cool, or nothing is heated"
    for index in range(len(kinds) - 1):
        if kinds[index] == "cool":
            yield ("stages", index), "only the last stage may be a cool; move it to the end"
    if kinds[-1] not in ("cool", None):
        yield ("stages", len(kinds) - 1), "a profile ends with a cool; add one after this stage"
    for index, kind in enumerate(kinds):
        if kind in ("ramp", None):
            return
        if kind in ("hold", "wait"):
            yield (
                ("stages", index),
                f"a {kind} keeps the temperature of the ramp before it, and there is none;"
                " put a ramp first",
            )


def _role_mistakes(roles: Mapping[str, str | None]) -> Iterator[tuple[Location, str]]:
    controls = [name for name, role in roles.items() if role == "control"]
    if not controls and None not in roles.values():
        yield ("sensors",), 'no sensor has the role "control"; give it to exactly one'
    for name in controls[1:]:
        yield (
            ("sensors", name),
            f'only one sensor may have the role "control" and "{controls[0]}" has it already;'
            ' write another role such as "edge"',
        )
