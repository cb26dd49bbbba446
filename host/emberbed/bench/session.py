"""`emberbed run` from start to end: prepare, connect, store, arm, watch, report.

The order is the rule: what the profile says is checked before anything is sent; the run is open in
the store before the device hears of it; records are stored before they are acknowledged.
"""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console

from emberbed import __version__
from emberbed.bench.hands import PersonAtKeyboard, ScriptedHand, StopSignal
from emberbed.bench.keys import Keys
from emberbed.bench.outcome import REFUSED, Outcome
from emberbed.bench.panel import LivePanel, PlainLines
from emberbed.bench.prepare import NotReady, Prepared, prepare
from emberbed.bench.run_loop import BenchRun
from emberbed.bench.story import Story
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.device_description import DeviceDescription, decode_settings
from emberbed.link.device import Device, Refused
from emberbed.link.transport import LinkError
from emberbed.profiles.compile import decode_plan
from emberbed.profiles.reader import ProfileFile
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore
from emberbed.store.runs import RunFacts

VIRTUAL = "virtual"


@dataclass(frozen=True)
class RunRequest:
    """What the person asked for. `virtual` is None for a real device at `device`."""

    profile_file: ProfileFile
    device: str
    virtual: VirtualBench | None
    scripted: bool
    page: Path | None


@dataclass(frozen=True)
class RunResult:
    run_id: int
    outcome: Outcome
    limits_exceeded: int
    page: Path


def run_profile(request: RunRequest, store: RunStore, console: Console) -> RunResult:
    """Run a profile. Raises NotReady, LinkError, Refused or VirtualDeviceError before heat."""
    with _device(request) as (device, virtual):
        settings = device.read_settings()
        description = decode_settings(settings)
        prepared = prepare(request.profile_file, description)
        for warning in prepared.warnings:
            console.print(f"Note: {warning}", markup=False, highlight=False, soft_wrap=True)
        run_id = store.begin_run(_facts(request, device, virtual, prepared, settings))
        try:
            outcome = _watch(request, device, virtual, store, run_id, prepared, description, console)
        except NotReady:
            raise
        except BaseException:
            with suppress(StoreError):  # the store itself may be what failed
                store.end_run(run_id, "interrupted", None)
            raise
    return _finish(request, store, run_id, outcome)


@contextmanager
def _device(request: RunRequest) -> Iterator[tuple[Device, VirtualDevice | None]]:
    if request.virtual is None:
        with Device.connect(request.device) as device:
            yield device, None
        return
    with VirtualDevice(request.virtual) as virtual, Device.connect(virtual.url) as device:
        yield device, virtual


def _facts(
    request: RunRequest,
    device: Device,
    virtual: VirtualDevice | None,
    prepared: Prepared,
    settings: bytes,
) -> RunFacts:
    bench = request.virtual
    return RunFacts(
        profile_name=prepared.profile_file.model.name,
        profile_toml=prepared.profile_file.text,
        plan=prepared.plan,
        settings=settings,
        session=device.greeting.session,
        device=request.device,
        engine=virtual.engine if virtual else "device",
        firmware_version=device.greeting.firmware,
        firmware_digest=virtual.firmware_digest if virtual else device.greeting.build_id.hex(),
        host_version=__version__,
        simulated=virtual is not None,
        speed=bench.speed if bench else "1",
        seed=bench.seed if bench else None,
    )


def _watch(
    request: RunRequest,
    device: Device,
    virtual: VirtualDevice | None,
    store: RunStore,
    run_id: int,
    prepared: Prepared,
    description: DeviceDescription,
    console: Console,
) -> Outcome:
    names = {n: name for n, name in enumerate(description.channel_names()) if name}
    story = Story(decode_plan(prepared.plan), prepared.prompts, names)
    title = f"{prepared.profile_file.model.name} · run {run_id}"
    control = story.plan.header["control0"]
    live = console.is_terminal
    screen = LivePanel(console, story, title, control, virtual is not None) if live else (
        PlainLines(console)
    )
    with StopSignal() as stop, Keys() as keys, screen:
        hand = (
            ScriptedHand(virtual, stop)
            if virtual and request.scripted
            else PersonAtKeyboard(keys, virtual, stop)
        )
        run = BenchRun(device, store, run_id, story, screen, hand)
        device.sink = run.take
        try:
            device.send_plan(prepared.plan)
            device.arm(prepared.plan)
        except (Refused, LinkError) as error:
            store.add_event(run_id, None, "refused", str(error))
            store.end_run(run_id, REFUSED.state, REFUSED.exit_code)
            raise NotReady([str(error)]) from None
        outcome = run.watch(prepared.plan)
        device.sink = None
    trip = run.newest.trip if run.newest else 0
    store.end_run(
        run_id, outcome.state, outcome.exit_code, trip=trip,
        limits_exceeded=_limits_exceeded(store, run_id, story, names),
    )  # fmt: skip
    return outcome


def _limits_exceeded(store: RunStore, run_id: int, story: Story, names: dict[int, str]) -> int:
    from emberbed.report.summary import summarise

    return len(summarise(store.records(run_id), story.plan, names).limits_exceeded)


def _finish(
    request: RunRequest, store: RunStore, run_id: int, outcome: Outcome
) -> RunResult:
    from emberbed.report.run_page import write_run_page  # matplotlib: only when it is needed

    page = request.page or default_page(store, run_id)
    page.parent.mkdir(parents=True, exist_ok=True)
    write_run_page(store, run_id, page)
    limits = store.run(run_id).limits_exceeded or 0
    return RunResult(run_id, outcome, limits, page)


def default_page(store: RunStore, run_id: int) -> Path:
    """Return where a run's page goes: beside the store."""
    return store.path.parent / "pages" / f"run-{run_id}.html"
