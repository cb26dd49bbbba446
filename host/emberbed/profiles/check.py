"""Judge what a profile would do to board, solder, laminate and heater, before anything is sent.

Takes a ProfileFile (its shape is right already) and what is known of the device; gives findings,
each one sentence with its place, the rule with its source, and the mend. An error means the run is
refused: hard ceilings and what the heater cannot do. What the trade and standards say is a warning,
for the person at the bench to heed or to accept with a reason (`acceptance`); a note tells. Rules
about the device are left out where the device is not known.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from emberbed.heater.default_gains import POWER_CAP
from emberbed.materials.book import find_alloy, find_flux, find_laminate
from emberbed.profiles.acceptance import KEY, lapsed, name_of, reasons
from emberbed.profiles.check_case import Case, Judged, OneFound, Severity
from emberbed.profiles.check_rules import RULES
from emberbed.profiles.guard_model import GuardModel
from emberbed.profiles.reader import ProfileFile
from emberbed.profiles.timing import spans
from emberbed.profiles.tool_power import Socket
from emberbed.profiles.zones import Zones
from emberbed_fw.safety_limits import HARD_CEILING_CDEG


@dataclass(frozen=True)
class Finding:
    """One thing found; `stage` counts from 1, None where no single stage is meant.

    `name`: what an acceptance calls it; `reason`: why a warning was accepted, which makes a note of
    it, or ''. `judged`: the number and its limit, where the rule has one.
    """

    severity: Severity
    line: int | None
    stage: int | None
    sentence: str
    name: str = ""
    judged: Judged | None = None
    reason: str = ""

    def as_json(self) -> dict[str, Any]:
        """Return it for scripts and the page."""
        judged = self.judged
        return {
            "severity": self.severity,
            "line": self.line,
            "stage": self.stage,
            "sentence": self.sentence,
            "name": self.name,
            "value": judged and judged.value,
            "limit": judged and judged.limit,
            "unit": judged and judged.unit,
            "source": judged and judged.source,
            "reason": self.reason,
        }


def check_profile(
    profile_file: ProfileFile,
    channel_names: Sequence[str] = (),
    ceilings_cdeg: Sequence[int] = (),
    heater_watts: float | None = None,
    power_cap: float = POWER_CAP,
    socket_watts: float = 0,
    guard_model: GuardModel | None = None,
    zones: Zones | None = None,
) -> list[Finding]:
    """Return all findings, the worst first, then in the order of the file, the summary last.

    socket_watts: what the heater's socket gives, 0 = not known. guard_model: of an identified
    heater; None for a guess from its watts. zones: of the heater, where the device is known.
    """
    profile = profile_file.model
    if zones is not None:
        power_cap = zones.power_cap(profile, power_cap)
    case = Case(
        profile,
        spans(profile),
        find_alloy(profile.alloy),
        find_laminate(profile.laminate),
        find_flux(profile.flux),
        channel_names,
        ceilings_cdeg or [HARD_CEILING_CDEG] * len(channel_names),
        heater_watts,
        power_cap,
        Socket(socket_watts, heater_watts or 0, power_cap),
        guard_model,
        zones,
    )
    accepted = reasons(profile_file.source)
    found = [
        _finding(profile_file, accepted, rule.__name__.strip("_"), one)
        for rule in RULES
        for one in rule(case)
    ]
    found[-1:-1] = _lapsed(profile_file)  # the summary stays last
    order: tuple[Severity, ...] = ("error", "warning", "note")
    return sorted(found, key=lambda one: (order.index(one.severity), one.line or math.inf))


def has_errors(findings: Sequence[Finding]) -> bool:
    """Tell whether the run must be refused."""
    return any(finding.severity == "error" for finding in findings)


def _lapsed(profile_file: ProfileFile) -> list[Finding]:
    said = (
        "it was accepted for another revision of this profile and no longer counts; look at the"
        " warning again, and take this table out"
    )
    return [
        _finding(profile_file, {}, KEY, ("note", (KEY, number), said))
        for number in lapsed(profile_file.source)
    ]


def _finding(
    profile_file: ProfileFile,
    accepted: Mapping[str, str],
    rule: str,
    found: OneFound,
) -> Finding:
    severity, location, text = found[:3]
    judged = found[3] if len(found) == 4 else None
    source = profile_file.source
    stage = location[1] + 1 if len(location) > 1 and isinstance(location[1], int) else None
    name = name_of(rule, location)
    reason = accepted.get(name, "") if severity == "warning" else ""
    if reason:
        severity, text = "note", f"{text} (accepted: {reason})"
    sentence = source.place(location) + text
    return Finding(severity, source.line_of(location), stage, sentence, name, judged, reason)
