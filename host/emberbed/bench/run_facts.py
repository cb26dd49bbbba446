"""What is known of a run before it begins, as the store keeps it."""

from emberbed import __version__
from emberbed.bench.prepare import Prepared
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.link.device import Device
from emberbed.store.runs import RunFacts


def facts_of(
    device: Device,
    virtual: VirtualDevice | None,
    prepared: Prepared,
    settings: bytes,
    named: str,
    asked: VirtualBench | None,
) -> RunFacts:
    """Return the facts of a run; `named` is the device as the person named it."""
    greeting = device.greeting
    return RunFacts(
        profile_name=prepared.profile_file.model.name,
        profile_toml=prepared.profile_file.text,
        plan=prepared.plan,
        settings=settings,
        session=greeting.session,
        device=named,
        engine=virtual.engine if virtual else "device",
        firmware_version=greeting.firmware,
        firmware_digest=virtual.firmware_digest if virtual else greeting.build_id.hex(),
        host_version=__version__,
        simulated=virtual is not None,
        speed=asked.speed if asked else "1",
        seed=asked.seed if asked else None,
    )
