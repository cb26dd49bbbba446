"""Save what a person did in a run as a new revision of the profile that the run used.

`revision_of` takes a stored run and gives the text with one sentence for each change; it raises
NothingToSave, one sentence, for a run that no new profile comes of. The profile given back has been
read again: its shape is right. What it would do to a board is for the check to say.
"""

import re
import tomllib
from dataclasses import dataclass

from tomlkit.exceptions import TOMLKitError

from emberbed.profiles.compile import Plan
from emberbed.profiles.limits import TEXTS
from emberbed.profiles.reader import ProfileMistakes, parse_profile
from emberbed.profiles.timing import impossible
from emberbed.report.deed_kinds import CHANGES
from emberbed.revise.changes import changes_of
from emberbed.revise.course import courses_of
from emberbed.revise.draft import Part
from emberbed.revise.sheet import revised_text
from emberbed.store.meaning import plan_of
from emberbed.store.run_store import RunStore
from emberbed.store.runs import StoredRun

_REVISION = re.compile(r", revision (\d{1,6})$")


class NothingToSave(Exception):
    """There is no new revision to be made of this run; the text is one sentence."""


@dataclass(frozen=True)
class Revision:
    """`sentences` tell each change; `kept` what was done and is no change of a profile."""

    name: str
    text: str
    sentences: list[str]
    kept: list[str]


def revision_of(store: RunStore, run: StoredRun) -> Revision:
    """Return the new revision of the profile of a run."""
    if run.state == "open":
        raise NothingToSave(f"run {run.id} is still being recorded; wait until it has ended")
    if not any(record.touch in CHANGES for record in store.records(run.id)):
        raise NothingToSave(
            f"nothing was changed in run {run.id}, its profile can be used as it is"
        )
    plan, stages = _readable(run)
    draft = changes_of(stages, plan, courses_of(store.records(run.id), plan))
    if not draft.sentences:
        kept = f" ({draft.kept[0].rstrip('.')})" if draft.kept else ""
        raise NothingToSave(
            f"what was changed in run {run.id} is nothing that a profile holds{kept}; its profile"
            " can be used as it is"
        )
    name = next_name(run.profile_name)
    try:
        text = revised_text(run.profile_toml, name, draft.parts, f"added from run {run.id}")
    except (ValueError, TOMLKitError) as strange:
        raise _by_hand(run) from strange
    _check(run, text, name, _stages_of(draft.parts, stages))
    return Revision(name, text, draft.sentences, draft.kept)


def next_name(name: str) -> str:
    """Return the name of the next revision, cut to the length that a name may have."""
    found = _REVISION.search(name)
    ending = f", revision {int(found[1]) + 1 if found else 2}"
    base = name[: found.start()] if found else name
    return base[: TEXTS["name"] - len(ending)].rstrip() + ending


def _readable(run: StoredRun) -> tuple[Plan, list[dict]]:
    """Return what the device was told to do and the stages of the profile that said so."""
    plan = plan_of(run)
    try:
        stages = parse_profile(run.profile_toml.encode(), "profile").source.data["stages"]
    except ProfileMistakes:
        stages = []
    if plan is None or len(stages) != len(plan.stages):
        raise NothingToSave(
            f"the profile of run {run.id} cannot be read by this version of emberbed; change it by"
            " hand"
        )
    return plan, stages


def _stages_of(parts: list[Part], stages: list[dict]) -> list[dict]:
    """Return the stages as they should be read again."""
    return [part.values if part.original is None else {**stages[part.original], **part.values}
            for part in parts]  # fmt: skip


def _check(run: StoredRun, text: str, name: str, stages: list[dict]) -> None:
    """Read the new profile again: it must be what was meant, and one that a device could run."""
    try:
        model = parse_profile(text.encode(), "the new profile").model
        mistakes = [sentence for _location, sentence in impossible(model)]
    except ProfileMistakes as refused:
        mistakes = refused.sentences
    if mistakes:
        raise NothingToSave(
            f"what was done in run {run.id} makes no profile of its own: {mistakes[0]}"
        )
    read = tomllib.loads(text)
    if (read["name"], read["stages"]) != (name, stages):
        raise _by_hand(run)


def _by_hand(run: StoredRun) -> NothingToSave:
    return NothingToSave(
        f"the profile of run {run.id} is written in a way that cannot be changed here; change it by"
        " hand"
    )
