"""What is known of a run before it is recorded, as the store keeps it."""

from typing import NamedTuple

from emberbed import __version__
from emberbed.bench.prepare import Prepared
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.link.device import Device
from emberbed.store.runs import RunFacts


class Intended(NamedTuple):
    """What a device is to do, or did: its profile, compiled, on these settings of the device."""

    profile_name: str
    profile_toml: str
    plan: bytes
    settings: bytes


def intended(prepared: Prepared, settings: bytes) -> Intended:
    """Return what a checked profile will do on a device."""
    profile = prepared.profile_file
    return Intended(profile.model.name, profile.text, prepared.plan, settings)


def facts_of(
    device: Device,
    what: Intended,
    named: str,
    virtual: VirtualDevice | None = None,
    asked: VirtualBench | None = None,
    session: int | None = None,
) -> RunFacts:
    """Return the facts of a run; `named` is the device as the person named it, `session` the one
    that the run was made in, the device's own now if not given."""
    greeting = device.greeting
    return RunFacts(
        **what._asdict(),
        session=greeting.session if session is None else session,
        device=named,
        engine=virtual.engine if virtual else "device",
        firmware_version=greeting.firmware,
        firmware_digest=virtual.firmware_digest if virtual else greeting.build_id.hex(),
        host_version=__version__,
        simulated=virtual is not None,
        speed=asked.speed if asked else "1",
        seed=asked.seed if asked else None,
    )
