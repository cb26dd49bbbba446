"""From a profile's name to what the device will do: read, check, compile; nothing is sent.

Every refusal is a `NotReady` with one sentence per mistake, all of them at once.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

from emberbed.device_description import DeviceDescription, decode_settings
from emberbed.heater.default_gains import POWER_CAP, Gains
from emberbed.link.device import Device
from emberbed.materials.book import UNKNOWN
from emberbed.profiles.check import Finding, check_profile, has_errors
from emberbed.profiles.compile import PlanRefused, compile_plan, prompts
from emberbed.profiles.guard_model import GuardModel
from emberbed.profiles.model import Board
from emberbed.profiles.plain_hold import hold_profile
from emberbed.profiles.planned import Planner
from emberbed.profiles.reader import ProfileFile, ProfileMistakes, read_profile
from emberbed.profiles.zones import Coupling, Zones
from emberbed_fw.messages import ENTRY_INJECTED

CHECKED, ACCEPTED = "check", "accepted"  # kinds of events, as the run store keeps them
SAID_AS = {CHECKED: "warning", ACCEPTED: "note"}  # before heat


class NotReady(Exception):
    """Why a run cannot begin: `sentences`, each naming its place and the mend."""

    def __init__(self, sentences: list[str]) -> None:
        super().__init__("\n".join(sentences))
        self.sentences = sentences

    def __reduce__(self) -> tuple[type["NotReady"], tuple[list[str]]]:
        return NotReady, (self.sentences,)  # whole, out of a helper process too


class MadeOnDevice(Protocol):
    """What becomes a profile only on a device, as it needs its sensors."""

    def on(self, description: DeviceDescription) -> ProfileFile:
        """Return the profile, or raise NotReady."""
        ...


@dataclass(frozen=True)
class PlainHold:
    """A temperature to be held for a time, without a file."""

    temperature_c: float
    for_s: float
    alloy: str = UNKNOWN
    laminate: str = UNKNOWN

    def on(self, description: DeviceDescription) -> ProfileFile:
        """Return it as a profile of this device's sensors."""
        try:
            return hold_profile(
                self.temperature_c,
                self.for_s,
                description.channel_names(),
                self.alloy,
                self.laminate,
            )
        except ProfileMistakes as mistakes:
            raise NotReady(mistakes.sentences) from None


@dataclass(frozen=True)
class Prepared:
    """A checked profile and its plan. `warnings` are for the person before heat, and so is what was
    `accepted`, each with its reason."""

    profile_file: ProfileFile
    plan: bytes
    prompts: list[str]
    warnings: list[str]
    accepted: list[str] = field(default_factory=list)

    def told(self) -> list[tuple[str, str]]:
        """Return (kind, sentence) of all that is told before heat and kept with the run."""
        return [
            *((CHECKED, sentence) for sentence in self.warnings),
            *((ACCEPTED, sentence) for sentence in self.accepted),
        ]


def load_profile(name: str) -> ProfileFile:
    """Read a profile by path or shipped name."""
    try:
        return read_profile(name)
    except ProfileMistakes as mistakes:
        raise NotReady(mistakes.sentences) from None


def read_description(device: Device) -> tuple[bytes, DeviceDescription]:
    """Ask a device what it is: its settings as bytes, and decoded."""
    settings = device.read_settings()
    try:
        return settings, decode_settings(settings)
    except ValueError as error:
        raise NotReady([f"{device.url}: {error}"]) from None


def read_to_run(device: Device) -> tuple[bytes, DeviceDescription]:
    """Ask a device what it is, to run something on it; one that takes injected readings, and so
    does nothing real, is NotReady."""
    if device.greeting.entry == ENTRY_INJECTED:
        raise NotReady(
            [
                f"The device at {device.url} takes injected readings and drives no pins, so it can"
                " prove its logic but run nothing: reset it, then start again"
            ]
        )
    return read_description(device)


def judge(
    profile_file: ProfileFile,
    description: DeviceDescription,
    power_cap: float = POWER_CAP,
    guard_model: GuardModel | None = None,
    coupling: Coupling | None = None,
) -> list[Finding]:
    """Return what `check` finds, with the device's channels, zones and watts."""
    return check_profile(
        profile_file,
        description.channel_names(),
        description.ceilings_cdeg(),
        description.heater_watts,
        power_cap,
        socket_watts=description.socket_watts,
        guard_model=guard_model,
        zones=zones_of(description, coupling),
    )


def zones_of(description: DeviceDescription, coupling: Coupling | None = None) -> Zones:
    """Return the zones of a device's heater, with what is known of how they warm its sensors."""
    fitted = [zone.watts for zone in description.zones]
    while len(fitted) > 1 and fitted[-1] == 0:
        fitted.pop()
    return Zones(tuple(fitted), description.socket_watts, coupling)


def prepare(
    asked: ProfileFile | MadeOnDevice,
    description: DeviceDescription,
    gains: Gains | None = None,
    power_cap: float = POWER_CAP,
    guard_model: Callable[[Board | None], GuardModel] | None = None,
    planner: Planner | None = None,
    coupling: Coupling | None = None,
) -> Prepared:
    """Check against the device and compile; gains None: those of a heater nobody identified.

    guard_model: what the guard knows of the heater, for a board; None for a guess.
    planner: plans setpoints and power for a heater that is known; coupling: of its zones.
    """
    profile_file = asked if isinstance(asked, ProfileFile) else asked.on(description)
    model = None if guard_model is None else guard_model(profile_file.model.board)
    findings = judge(profile_file, description, power_cap, model, coupling)
    if has_errors(findings):
        raise NotReady([found.sentence for found in findings if found.severity == "error"])
    try:
        plan = compile_plan(
            profile_file.model,
            description.channel_names(),
            description.ceilings_cdeg(),
            gains,
            power_cap,
            socket_w=description.socket_watts,
            zone_w=description.heater_watts,
            guard_model=model,
            planner=planner,
            zones=zones_of(description, coupling),
        )
    except PlanRefused as refused:
        raise NotReady([str(refused)]) from None
    return Prepared(
        profile_file,
        plan,
        prompts(profile_file.model),
        [found.sentence for found in findings if found.severity == "warning"],
        [found.sentence for found in findings if found.reason],
    )
