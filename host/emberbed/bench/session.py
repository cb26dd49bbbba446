"""`emberbed run` from start to end: prepare, connect, store, arm, watch, report.

The order is the rule: what the profile says is checked before anything is sent; the run is open in
the store before the device hears of it; records are stored before they are acknowledged.
"""

import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console

from emberbed.acceptance.standing import warnings
from emberbed.bench.acts import Act, check_channels
from emberbed.bench.begin import Begin, arm_run
from emberbed.bench.clock_watch import ClockWatch
from emberbed.bench.disk_room import check_room
from emberbed.bench.hands import PersonAtKeyboard, StopSignal
from emberbed.bench.key_table import BUTTON_HINT, KEYS_HINT
from emberbed.bench.keys import Keys
from emberbed.bench.ledger import Ledger
from emberbed.bench.outcome import Outcome
from emberbed.bench.panel import LivePanel
from emberbed.bench.plain_lines import PlainLines
from emberbed.bench.prepare import SAID_AS, MadeOnDevice, NotReady, Prepared, read_to_run
from emberbed.bench.run_facts import facts_of, intended
from emberbed.bench.run_files import check_page, page_path, write_page
from emberbed.bench.run_loop import BenchRun, Hand, Screen
from emberbed.bench.script_hand import ScriptedHand
from emberbed.bench.self_check import ALARM, self_check_for
from emberbed.bench.stay_awake import staying_awake
from emberbed.bench.story import Story
from emberbed.bench.touch_test import require_touch
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.bench.watcher import Begun, Hands, Screens, Watcher
from emberbed.bench.with_heater import learner_of, planning_anew, prepare_on
from emberbed.calibration.known import EVENT
from emberbed.calibration.on_device import Said, run_words
from emberbed.device_description import DeviceDescription
from emberbed.jobs.from_run import JobWish, join, wish_for
from emberbed.link.device import Device
from emberbed.profiles.compile import decode_plan
from emberbed.profiles.reader import ProfileFile
from emberbed.report.ending import ending_of
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore
from emberbed.store.runs import RunFacts
from emberbed.trip_titles import last_start_words

if TYPE_CHECKING:
    from emberbed.learn.identified import Identified


class RecordFailed(Exception):
    """The store failed while the run was on: heat is off, the record breaks off; one sentence."""


@dataclass(frozen=True)
class RunRequest:
    """What the person asked for. `virtual` is None for a real device at `device`."""

    asked: ProfileFile | MadeOnDevice | None  # None: what the device does already (resume)
    device: str
    virtual: VirtualBench | None
    scripted: bool
    page: Path | None
    quiet: bool = False  # no bell
    acts: tuple[Act, ...] = ()  # what a script does besides
    touch_test: bool = False  # before arming
    heater: "Identified | None" = None  # the heater that is on the bench
    watcher: Watcher | None = None  # who else watches and asks
    at_keyboard: bool = True  # False: the watcher alone asks
    said: tuple[tuple[str, str], ...] = ()  # kind and sentence of what was said before the run
    self_check: str = ALARM  # one of self_check.MODES
    job: JobWish | None = None  # of the bench record; None: that of the board, on a real device


@dataclass(frozen=True)
class RunResult:
    """How it ended, in `ending` for a person, in one sentence a line.

    `run_id` is the last run, `earlier` are those that it goes on with. `page_failed` says in one
    sentence why there is no page, if there is none.
    """

    run_id: int
    outcome: Outcome
    limits_exceeded: int
    page: Path
    page_failed: str | None
    ending: list[str]
    earlier: tuple[int, ...] = ()


@dataclass(frozen=True)
class Bench:
    """A connected device with the profile that fits it."""

    device: Device
    virtual: VirtualDevice | None
    settings: bytes
    description: DeviceDescription
    prepared: Prepared
    calibrations: tuple[Said, ...] = ()  # in force


def run_profile(request: RunRequest, store: RunStore, console: Console) -> RunResult:
    """Run a profile.

    Raises NotReady, LinkError, Refused or VirtualDeviceError before heat, RecordFailed after it.
    """
    check_page(request.page, store)
    wish = wish_for(store, request.job, request.asked, request.virtual is not None)
    with ExitStack() as until_told:
        with _device(request) as (device, virtual):
            bench = _prepare(request, device, virtual, console)
            check_room(store.path, bench.prepared.plan)
            _need_hand(request)
            until_told.enter_context(staying_awake())
            if request.touch_test:
                require_touch(device, bench.description, virtual, request.scripted, console)
            stop = until_told.enter_context(StopSignal())
            ledger = Ledger(store, _facts(request, bench))
            try:
                join(store, ledger.run_id, wish, console)
                outcome = watch_run(request, bench, ledger, console, stop)
            except NotReady:
                raise
            except BaseException:
                with suppress(StoreError):  # the store itself may be what failed
                    ledger.give_up()
                raise
        return result_of(request, ledger, outcome)


def result_of(request: RunRequest, ledger: Ledger, outcome: Outcome) -> RunResult:
    """Write the pages; return how the last run ended."""
    store, run_id = ledger.store, ledger.run_id
    if request.page is None:
        for earlier in ledger.earlier:
            write_page(store, earlier, page_path(None, store, earlier))
    page = page_path(request.page, store, run_id)
    failed = write_page(store, run_id, page)
    run = store.run(run_id)
    ending = ending_of(store, run, store.events(run_id)).lines()
    limits = run.limits_exceeded or 0
    return RunResult(run_id, outcome, limits, page, failed, ending, tuple(ledger.earlier))


def _need_hand(request: RunRequest) -> None:
    """Refuse a run that nobody could start: asked last, as every other mistake tells more."""
    if request.virtual is not None and not request.scripted and request.watcher is None:
        need_keyboard()


def need_keyboard() -> None:
    """Refuse where nobody can press a key."""
    if sys.stdin is None or not sys.stdin.isatty():
        raise NotReady(
            [
                "Nobody could hold the virtual device's button, as there is no keyboard here:"
                " add --press, or start it in a terminal"
            ]
        )


def _prepare(
    request: RunRequest, device: Device, virtual: VirtualDevice | None, console: Console
) -> Bench:
    """Read what the device is and fit the profile to it; tell what a person should know."""
    settings, description = read_to_run(device)
    assert request.asked is not None
    prepared, about_heater = prepare_on(request.asked, description, request.heater)
    check_channels(request.acts, description)
    told = [f"{SAID_AS[kind]}: {said}" for kind, said in prepared.told()]
    told += [f"note: {note}" for note in (virtual.notes if virtual else [])]
    told += [f"note: {note}" for note in [*about_heater, *last_start_words(device.greeting)]]
    calibrations = tuple(run_words(device, settings, description))
    told += [f"warning: {said.sentence}" for said in calibrations if said.warns]
    told += [f"warning: {said}" for said in ([] if virtual else warnings(device, settings))]
    for line in told:
        console.print(line, markup=False, highlight=False, soft_wrap=True)
    return Bench(device, virtual, settings, description, prepared, calibrations)


@contextmanager
def _device(request: RunRequest) -> Iterator[tuple[Device, VirtualDevice | None]]:
    if request.virtual is None:
        with Device.connect(request.device) as device:
            yield device, None
        return
    with VirtualDevice(request.virtual) as virtual, Device.connect(virtual.url) as device:
        yield device, virtual


def _facts(request: RunRequest, bench: Bench) -> RunFacts:
    what = intended(bench.prepared, bench.settings)
    return facts_of(bench.device, what, request.device, bench.virtual, request.virtual)


def watch_run(
    request: RunRequest,
    bench: Bench,
    ledger: Ledger,
    console: Console,
    stop: StopSignal,
    begin: Begin = arm_run,
) -> Outcome:
    """Arm (or begin otherwise) and follow the run to its end, which is then stored."""
    plan, virtual = bench.prepared.plan, bench.virtual
    story = Story(decode_plan(plan), bench.prepared.prompts, bench.description.fitted_names())
    checked = ((kind, f"Check before heat: {said}") for kind, said in bench.prepared.told())
    calibrated = ((EVENT, said.sentence) for said in bench.calibrations)
    for kind, sentence in (*request.said, *checked, *calibrated):
        ledger.add_event(None, kind, sentence)
    with Keys(request.at_keyboard) as keys:
        own = _hand(request, virtual, keys, stop)
        with _screen(request, bench, story, ledger.run_id, console, stop, own) as screen:
            if keys.from_terminal and not request.scripted and isinstance(screen, PlainLines):
                hint = KEYS_HINT if virtual is None else f"{BUTTON_HINT}. {KEYS_HINT}"
                screen.tell(None, "keys", hint)
            why_gone = virtual.why_ended if virtual else lambda: None
            learner = learner_of(request.heater, story.plan, bench.description)
            shown, hand = _watched(request, bench, ledger, story, screen, own)
            learner, hand = planning_anew(request.heater, plan, learner, hand)
            digest = _facts(request, bench).firmware_digest
            check = self_check_for(request.self_check, bench.settings, plan, digest)
            checks = (learner, check, None if virtual else ClockWatch())
            run = BenchRun(bench.device, ledger, story, shown, hand, why_gone, *checks)
            begin(bench.device, bench.settings, bench.prepared.plan, ledger, run)
            try:
                outcome = run.watch(plan)
                bench.device.sink = None
                trip = run.newest.trip if run.newest else 0
                ledger.end(outcome, trip, story.plan, story.names)
            except StoreError as error:
                raise RecordFailed(
                    f"{error}. The record breaks off there: heat was switched off, the board may"
                    " still be hot"
                ) from error
    return outcome


def _watched(
    request: RunRequest, bench: Bench, ledger: Ledger, story: Story, screen: Screen, own: Hand
) -> tuple[Screen, Hand]:
    """Return the screen and the hand together with the watcher's, if somebody else watches."""
    watcher = request.watcher
    if watcher is None:
        return screen, own
    watcher.begins(
        Begun(ledger.run_id, story, _facts(request, bench), bench.description, bench.virtual)
    )
    hand = Hands(own, watcher) if request.at_keyboard else watcher
    return Screens((screen, watcher)), hand


def _hand(
    request: RunRequest, virtual: VirtualDevice | None, keys: Keys, stop: StopSignal
) -> ScriptedHand | PersonAtKeyboard:
    if request.scripted and virtual is not None:
        return ScriptedHand(virtual, stop, request.acts)
    return PersonAtKeyboard(keys, virtual, stop)


def _screen(
    request: RunRequest,
    bench: Bench,
    story: Story,
    run_id: int,
    console: Console,
    stop: StopSignal,
    hand: ScriptedHand | PersonAtKeyboard,
) -> LivePanel | PlainLines:
    if not console.is_terminal or console.is_dumb_terminal:
        return PlainLines(console, story, quiet=request.quiet)
    virtual = bench.virtual is not None
    name = bench.prepared.profile_file.model.name

    def title_of(number: int) -> str:
        return f"run {number}{' · simulated' * virtual} · {name}"  # cut off at its end

    return LivePanel(
        console,
        story,
        title_of(run_id),
        virtual=virtual,
        quiet=request.quiet,
        stops=lambda: stop.count,
        hints=hand.hints,
        title_of=title_of,
    )
