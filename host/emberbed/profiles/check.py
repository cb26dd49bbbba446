"""Judge what a profile would do to board, solder, laminate and heater, before anything is sent.

Takes a ProfileFile (its shape is right already) and what is known of the device; gives findings,
each one sentence with its place, the rule with its source, and the mend. An error means the run is
refused; warnings and notes are for the person at the bench. Rules about the device are left out
where the device is not known.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from emberbed.heater.default_gains import POWER_CAP
from emberbed.materials.book import find_alloy, find_laminate
from emberbed.profiles.check_case import Case, Severity
from emberbed.profiles.check_rules import RULES
from emberbed.profiles.guard_model import GuardModel
from emberbed.profiles.reader import ProfileFile
from emberbed.profiles.timing import spans
from emberbed.profiles.tool_power import Socket
from emberbed.profiles.whole_rules import Location
from emberbed_fw.safety_limits import HARD_CEILING_CDEG


@dataclass(frozen=True)
class Finding:
    """One thing found; `stage` counts from 1, None where no single stage is meant."""

    severity: Severity
    line: int | None
    stage: int | None
    sentence: str


def check_profile(
    profile_file: ProfileFile,
    channel_names: Sequence[str] = (),
    ceilings_cdeg: Sequence[int] = (),
    heater_watts: float | None = None,
    power_cap: float = POWER_CAP,
    socket_watts: float = 0,
    guard_model: GuardModel | None = None,
) -> list[Finding]:
    """Return all findings, the worst first, then in the order of the file, the summary last.

    socket_watts: what the heater's socket gives, 0 = not known. guard_model: of an identified
    heater; None for a guess from its watts.
    """
    profile = profile_file.model
    case = Case(
        profile,
        spans(profile),
        find_alloy(profile.alloy),
        find_laminate(profile.laminate),
        channel_names,
        ceilings_cdeg or [HARD_CEILING_CDEG] * len(channel_names),
        heater_watts,
        power_cap,
        Socket(socket_watts, heater_watts or 0, power_cap),
        guard_model,
    )
    found = [_finding(profile_file, *one) for rule in RULES for one in rule(case)]
    order: tuple[Severity, ...] = ("error", "warning", "note")
    return sorted(found, key=lambda one: (order.index(one.severity), one.line or math.inf))


def has_errors(findings: Sequence[Finding]) -> bool:
    """Tell whether the run must be refused."""
    return any(finding.severity == "error" for finding in findings)


def _finding(
    profile_file: ProfileFile, severity: Severity, location: Location, text: str
) -> Finding:
    source = profile_file.source
    stage = location[1] + 1 if len(location) > 1 and isinstance(location[1], int) else None
    return Finding(severity, source.line_of(location), stage, source.place(location) + text)
