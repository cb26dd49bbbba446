"""Sessions with a person, and the revision made of them."""

import tomllib

from emberbed.profiles.reader import parse_profile
from emberbed.revise.write import revision_of
from tests.host.report.hand_run import PROFILE, TapeStore

RAMP, HOLD, WAIT, SOAK_RAMP, SOAK, AIR, COOL = range(1, 8)  # stages of PROFILE
ORIGINAL = tomllib.loads(PROFILE)["stages"]


def revision_for(run, **changes):
    """Return the revision of a run; `changes` are of its header."""
    store = TapeStore(run, **changes)
    return revision_of(store, store.run)


def revised(run, **changes):
    """Return (stages of the new profile, the revision)."""
    revision = revision_for(run, **changes)
    assert parse_profile(revision.text.encode(), "new").model.name == revision.name
    return tomllib.loads(revision.text)["stages"], revision


def short(stages):
    """Return each stage as its kind and the number that matters."""
    keys = {"ramp": "to_c", "hold": "for_s", "wait": "longest_s", "hot_air": "longest_s",
            "cool": "below_c"}  # fmt: skip
    return [(stage["kind"], stage[keys[stage["kind"]]]) for stage in stages]
