"""`emberbed run` from start to end: prepare, connect, store, arm, watch, report.

The order is the rule: what the profile says is checked before anything is sent; the run is open in
the store before the device hears of it; records are stored before they are acknowledged.
"""

import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console

from emberbed import __version__
from emberbed.bench.hands import PersonAtKeyboard, ScriptedHand, StopSignal
from emberbed.bench.keys import Keys
from emberbed.bench.outcome import REFUSED, Outcome
from emberbed.bench.panel import LivePanel
from emberbed.bench.plain_lines import PlainLines
from emberbed.bench.prepare import NotReady, Prepared, prepare, read_description
from emberbed.bench.run_files import check_page, page_path, write_page
from emberbed.bench.run_loop import BenchRun
from emberbed.bench.story import Story
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.device_description import DeviceDescription
from emberbed.link.device import Device, Refused
from emberbed.link.transport import LinkError
from emberbed.profiles.compile import decode_plan
from emberbed.profiles.reader import ProfileFile
from emberbed.report.ending import ending_of
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore
from emberbed.store.runs import RunFacts

BUTTON_HINT = "B holds the virtual device's button"
KEYS_HINT = "Enter answers a prompt, Ctrl-C takes the heat away."


class RecordFailed(Exception):
    """The store failed while the run was on: heat is off, the record breaks off; one sentence."""


@dataclass(frozen=True)
class RunRequest:
    """What the person asked for. `virtual` is None for a real device at `device`."""

    profile_file: ProfileFile
    device: str
    virtual: VirtualBench | None
    scripted: bool
    page: Path | None
    quiet: bool = False  # no bell


@dataclass(frozen=True)
class RunResult:
    """How it ended, in `ending` for a person, in one sentence a line.

    `page_failed` says in one sentence why there is no page, if there is none.
    """

    run_id: int
    outcome: Outcome
    limits_exceeded: int
    page: Path
    page_failed: str | None
    ending: list[str]


@dataclass(frozen=True)
class _Bench:
    """A connected device with the profile that fits it."""

    device: Device
    virtual: VirtualDevice | None
    settings: bytes
    description: DeviceDescription
    prepared: Prepared


def run_profile(request: RunRequest, store: RunStore, console: Console) -> RunResult:
    """Run a profile.

    Raises NotReady, LinkError, Refused or VirtualDeviceError before heat, RecordFailed after it.
    """
    check_page(request.page, store)
    with ExitStack() as until_told:
        with _device(request) as (device, virtual):
            bench = _prepare(request, device, virtual, console)
            _need_hand(request)
            stop = until_told.enter_context(StopSignal())
            run_id = store.begin_run(_facts(request, bench))
            try:
                outcome = _watch(request, bench, store, run_id, console, stop)
            except NotReady:
                raise
            except BaseException:
                with suppress(StoreError):  # the store itself may be what failed
                    store.end_run(run_id, "interrupted", None)
                raise
        page = page_path(request.page, store, run_id)
        failed = write_page(store, run_id, page)
        run = store.run(run_id)
        ending = ending_of(store, run, store.events(run_id)).lines()
        return RunResult(run_id, outcome, run.limits_exceeded or 0, page, failed, ending)


def _need_hand(request: RunRequest) -> None:
    """Refuse a run that nobody could start: asked last, as every other mistake tells more."""
    in_terminal = sys.stdin is not None and sys.stdin.isatty()
    if request.virtual is not None and not request.scripted and not in_terminal:
        raise NotReady(
            [
                "Nobody could hold the virtual device's button, as there is no keyboard here:"
                " add --press, or start it in a terminal"
            ]
        )


def _prepare(
    request: RunRequest, device: Device, virtual: VirtualDevice | None, console: Console
) -> _Bench:
    """Read what the device is and fit the profile to it; tell what a person should know."""
    settings, description = read_description(device)
    prepared = prepare(request.profile_file, description)
    told = [f"warning: {warning}" for warning in prepared.warnings]
    told += [f"note: {note}" for note in (virtual.notes if virtual else [])]
    for line in told:
        console.print(line, markup=False, highlight=False, soft_wrap=True)
    return _Bench(device, virtual, settings, description, prepared)


@contextmanager
def _device(request: RunRequest) -> Iterator[tuple[Device, VirtualDevice | None]]:
    if request.virtual is None:
        with Device.connect(request.device) as device:
            yield device, None
        return
    with VirtualDevice(request.virtual) as virtual, Device.connect(virtual.url) as device:
        yield device, virtual


def _facts(request: RunRequest, bench: _Bench) -> RunFacts:
    virtual, greeting, asked = bench.virtual, bench.device.greeting, request.virtual
    return RunFacts(
        profile_name=bench.prepared.profile_file.model.name,
        profile_toml=bench.prepared.profile_file.text,
        plan=bench.prepared.plan,
        settings=bench.settings,
        session=greeting.session,
        device=request.device,
        engine=virtual.engine if virtual else "device",
        firmware_version=greeting.firmware,
        firmware_digest=virtual.firmware_digest if virtual else greeting.build_id.hex(),
        host_version=__version__,
        simulated=virtual is not None,
        speed=asked.speed if asked else "1",
        seed=asked.seed if asked else None,
    )


def _watch(
    request: RunRequest,
    bench: _Bench,
    store: RunStore,
    run_id: int,
    console: Console,
    stop: StopSignal,
) -> Outcome:
    """Arm and follow the run to its end, which is then stored."""
    plan, virtual = bench.prepared.plan, bench.virtual
    story = Story(decode_plan(plan), bench.prepared.prompts, bench.description.fitted_names())
    script = virtual if request.scripted else None
    with Keys() as keys, _screen(bench, story, run_id, console, stop, request.quiet) as screen:
        if keys.from_terminal and not script and isinstance(screen, PlainLines):
            hint = KEYS_HINT if virtual is None else f"{BUTTON_HINT}, {KEYS_HINT}"
            screen.tell(None, "keys", hint)
        hand = ScriptedHand(script, stop) if script else PersonAtKeyboard(keys, virtual, stop)
        why_gone = virtual.why_ended if virtual else lambda: None
        run = BenchRun(bench.device, store, run_id, story, screen, hand, why_gone)
        _arm(bench, store, run_id, run)
        try:
            outcome = run.watch(plan)
            bench.device.sink = None
            _end(store, run_id, run, outcome, story)
        except StoreError as error:
            raise RecordFailed(
                f"{error}. The record breaks off there: heat was switched off, the board may still"
                " be hot"
            ) from error
    return outcome


def _end(store: RunStore, run_id: int, run: BenchRun, outcome: Outcome, story: Story) -> None:
    from emberbed.report.summary import summarise

    figures = summarise(store.records(run_id), story.plan, story.names)
    store.end_run(
        run_id,
        outcome.state,
        outcome.exit_code,
        trip=run.newest.trip if run.newest else 0,
        limits_exceeded=len(figures.limits_exceeded),
    )


def _screen(
    bench: _Bench, story: Story, run_id: int, console: Console, stop: StopSignal, quiet: bool
) -> LivePanel | PlainLines:
    if not console.is_terminal or console.is_dumb_terminal:
        return PlainLines(console, story, quiet=quiet)
    virtual = bench.virtual is not None
    title = f"{bench.prepared.profile_file.model.name} · run {run_id}"
    if virtual:
        title += " · simulated"
    return LivePanel(console, story, title, virtual=virtual, quiet=quiet, stops=lambda: stop.count)


def _arm(bench: _Bench, store: RunStore, run_id: int, run: BenchRun) -> None:
    """Send the plan and arm; a refusal ends the run before any heat."""
    bench.device.sink = run.take
    try:
        bench.device.send_plan(bench.prepared.plan)
        bench.device.arm(bench.prepared.plan)
    except (Refused, LinkError) as error:
        store.add_event(run_id, None, "refused", str(error))
        store.end_run(run_id, REFUSED.state, REFUSED.exit_code)
        raise NotReady([str(error)]) from None
