"""Where limits come from: the table of hazards and checks, and the firmware's own safety limits.

There is no second table of limits: a step names a check (C01 ..) and gets its reaction time and the
modules that it proves from here.
"""

import tomllib
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from emberbed_fw import safety_limits, trip_codes

NAME = "hazards.toml"
IN_CHECKOUT = Path("tests") / "safety" / NAME
TRIP_OF_NAME = {name: code for code, name, _reaction in trip_codes.TRIPS}


@cache
def checks() -> dict[str, dict[str, Any]]:
    """Return every check of the table by its id."""
    shipped = files("emberbed_hil") / NAME  # put there by the wheel
    checkout = Path(__file__).resolve().parents[2] / IN_CHECKOUT
    text = (shipped if shipped.is_file() else checkout).read_text(encoding="utf-8")
    return {row["id"]: row for row in tomllib.loads(text)["check"]}


def must_act_ms(check: str) -> int:
    """Return within how many ms a check must have acted."""
    return checks()[check]["must_act_within_ms"]


def check_of(trip: str) -> str:
    """Return the id of the check that a trip belongs to, the one with the hardest limit first."""
    found = [row for row in checks().values() if trip in row["trips"]]
    return min(found, key=lambda row: row["must_act_within_ms"])["id"]


def modules_of(check: str) -> frozenset[str]:
    """Return the firmware modules that a check stands in, as files inside the package."""
    module = checks()[check]["module"].removeprefix("emberbed_fw.")
    return frozenset({module.replace(".", "/") + ".py"})


def limit(name: str) -> int:
    """Return one of the firmware's safety limits."""
    return getattr(safety_limits, name)
