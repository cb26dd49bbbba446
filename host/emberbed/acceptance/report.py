"""A report of acceptance as data: what was done on which device, with which firmware, by whom.

Plain JSON. `seal` is SHA-256 over everything else in it, so that a later change is noticed; it
proves no identity. Which parts count as done is decided here, and nowhere else.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from hashlib import sha256
from typing import Any

from emberbed_fw import settings as layout
from emberbed_fw.units import CHANNELS

FORMAT = 1
INJECTED, LAMP, MAINS = "injected", "lamp", "mains"  # the parts, in the order of trust
PARTS = (INJECTED, LAMP, MAINS)
PASSED, FAILED, NOT_FITTED, NOT_DONE = "passed", "failed", "not fitted", "not done"
GOOD = (PASSED, NOT_FITTED)


@dataclass(frozen=True)
class StepResult:
    """How one step ended. `done_on` is the day of the report that it is from, "" for this one."""

    number: str
    title: str
    part: str
    outcome: str
    said: str
    measured: float | None = None
    limit: float | None = None
    unit: str = ""
    checks: tuple[str, ...] = ()
    modules: tuple[str, ...] = ()
    seconds: float = 0.0
    done_on: str = ""


@dataclass(frozen=True)
class Report:
    """One signed-off report."""

    device: str  # its own number, or what stands for it
    virtual: bool
    firmware: str  # fingerprint, hexadecimal
    firmware_version: str
    description: str  # mark of the device description, without calibration
    channels: tuple[str, ...]
    runs_in: str
    date: str  # ISO 8601, UTC
    signed_by: str
    program: str
    modules: Mapping[str, str]
    steps: Sequence[StepResult]
    unreached: Mapping[str, str] = field(default_factory=dict)

    def of_part(self, part: str) -> list[StepResult]:
        return [step for step in self.steps if step.part == part]

    def has_passed(self, part: str) -> bool:
        """Tell whether this part was done, and every step of it is good."""
        steps = self.of_part(part)
        return bool(steps) and all(step.outcome in GOOD for step in steps)

    @property
    def failed(self) -> list[StepResult]:
        return [step for step in self.steps if step.outcome == FAILED]

    @property
    def is_accepted(self) -> bool:
        """Tell whether the device may be trusted with mains: all three parts are good."""
        return all(self.has_passed(part) for part in PARTS)

    @property
    def day(self) -> str:
        return self.date[:10]


def now() -> str:
    """Return the time as a report writes it."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def description_mark(block: bytes) -> str:
    """Return what tells device descriptions apart, with calibrations left out."""
    body = bytearray(block[:-4])  # without its CRC
    for channel in range(CHANNELS):
        at = layout.HEADER_BYTES + channel * layout.CHANNEL_BYTES
        body[at + 2 : at + 6] = bytes(4)  # offset and gain
    return sha256(body).hexdigest()[:16]


def to_json(report: Report) -> str:
    """Return the report as text, sealed."""
    data: dict[str, Any] = {"format": FORMAT, **asdict(report)}
    data["seal"] = _seal(data)
    return json.dumps(data, indent=1, ensure_ascii=False)


def from_json(text: str) -> Report:
    """Return the report in a text; ValueError with a sentence when it is none, or was changed."""
    try:
        data = json.loads(text)
        seal = data.pop("seal")
        if data.get("format") != FORMAT:
            raise ValueError("it is of another format")
        if seal != _seal(data):
            raise ValueError("it was changed after it was signed")
        del data["format"]
        steps = tuple(
            StepResult(
                **{**step, "checks": tuple(step["checks"]), "modules": tuple(step["modules"])}
            )
            for step in data.pop("steps")
        )
        return Report(**{**data, "channels": tuple(data["channels"]), "steps": steps})
    except (TypeError, KeyError, AttributeError) as error:
        raise ValueError(f"it is no report of acceptance ({error})") from None


def _seal(data: Mapping[str, Any]) -> str:
    plain = json.dumps(data, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return sha256(plain.encode()).hexdigest()
