"""From a profile's name to what the device will do: read, check, compile; nothing is sent.

Every refusal is a `NotReady` with one sentence per mistake, all of them at once.
"""

from dataclasses import dataclass

from emberbed.device_description import DeviceDescription, decode_settings
from emberbed.link.device import Device
from emberbed.profiles.check import Finding, check_profile, has_errors
from emberbed.profiles.compile import PlanRefused, compile_plan, prompts
from emberbed.profiles.reader import ProfileFile, ProfileMistakes, read_profile


class NotReady(Exception):
    """Why a run cannot begin: `sentences`, each naming its place and the mend."""

    def __init__(self, sentences: list[str]) -> None:
        super().__init__("\n".join(sentences))
        self.sentences = sentences


@dataclass(frozen=True)
class Prepared:
    """A checked profile and its plan. `warnings` are for the person before heat."""

    profile_file: ProfileFile
    plan: bytes
    prompts: list[str]
    warnings: list[str]


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


def judge(profile_file: ProfileFile, description: DeviceDescription) -> list[Finding]:
    """Return what `check` finds, with the device's channels and watts."""
    return check_profile(
        profile_file,
        description.channel_names(),
        description.ceilings_cdeg(),
        description.zones[0].watts,
    )


def prepare(profile_file: ProfileFile, description: DeviceDescription) -> Prepared:
    """Check against the device and compile."""
    findings = judge(profile_file, description)
    if has_errors(findings):
        raise NotReady([found.sentence for found in findings if found.severity == "error"])
    try:
        plan = compile_plan(
            profile_file.model, description.channel_names(), description.ceilings_cdeg()
        )
    except PlanRefused as refused:
        raise NotReady([str(refused)]) from None
    return Prepared(
        profile_file,
        plan,
        prompts(profile_file.model),
        [found.sentence for found in findings if found.severity == "warning"],
    )
