"""`emberbed device accept`: show that a device trips as it should, and keep the signed report."""

import sys
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

from emberbed import __version__
from emberbed.acceptance.report import FAILED, INJECTED, LAMP, MAINS, PARTS, StepResult
from emberbed.bench.prepare import NotReady
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.cli_common import EXIT_REFUSED, VIRTUAL, Engine, Json, fail, out, port_of, told
from emberbed.profiles.plain_hold import parse_duration
from emberbed_fw.messages import ENTRY_INJECTED

if TYPE_CHECKING:
    from emberbed.acceptance.report import Report
    from emberbed_hil.bench import Bench
    from emberbed_hil.person import Person
    from emberbed_hil.step import Step
    from emberbed_hil.ticks import Hands

EXIT_FAILED = 1
NOBODY = "nobody: a virtual device"
SOAKS = {"virtual": "10s", "changed": "1min", "real": "1h"}


@dataclass(frozen=True)
class Wanted:
    """What was asked for."""

    port: str
    part: str
    soak_s: float
    only: tuple[str, ...]
    changed: bool
    signed_by: str
    engine: str
    quiet: bool

    @property
    def virtual(self) -> bool:
        return self.port == VIRTUAL

    def say(self, text: str) -> None:
        typer.echo(text, err=self.quiet)


def add_commands(app: typer.Typer) -> None:
    """Add it to `emberbed device`."""
    app.command()(accept)


def accept(
    port: Annotated[
        str, typer.Argument(help="A serial port, a URL, 'auto', or 'virtual'.")
    ] = VIRTUAL,
    part: Annotated[
        str,
        typer.Option(
            help="injected: the logic, on injected readings, with no mains; lamp: the pins, with a"
            " lamp as load; mains: the checklist of a competent person."
        ),
    ] = INJECTED,
    only: Annotated[
        list[str] | None, typer.Option("--only", help="One step, or all of a group: 4. Repeatable.")
    ] = None,
    changed: Annotated[
        bool, typer.Option("--changed", help="Only what an update of the firmware touches.")
    ] = False,
    soak: Annotated[
        str | None,
        typer.Option(help="How long its clock is watched: 1h, with --changed 1min, virtual 10s."),
    ] = None,
    signed_by: Annotated[
        str | None, typer.Option("--signed-by", help="Who signs; asked for if not given.")
    ] = None,
    engine: Engine = "auto",
    json_answer: Json = False,
) -> None:
    """Accept a device: every trip with its time, the switches, the link; keep the signed report."""
    from emberbed.install.failure import InstallError
    from emberbed_hil.accept import Unfit

    with told():
        wanted = _wanted(port, part, only or [], changed, soak, signed_by, engine, json_answer)
        try:
            report, ran = _accept(wanted)
        except (Unfit, InstallError) as unfit:
            fail([str(unfit)])
        from emberbed.acceptance.page import verdict
        from emberbed.acceptance.report import to_json
        from emberbed.acceptance.shelf import keep

        kept = keep(report)
    if json_answer:
        out(to_json(report))
    else:
        out(verdict(report))
        out(f"Report: {kept}")
    if any(step.outcome == FAILED for step in ran):
        raise typer.Exit(EXIT_FAILED)


def _wanted(
    port: str, part: str, only: list[str], changed: bool, soak: str | None,
    signed_by: str | None, engine: str, quiet: bool,
) -> Wanted:  # fmt: skip
    if part not in PARTS:
        raise NotReady([f"--part {part} is none of {', '.join(PARTS)}: name one of these"])
    port = port_of(port)
    virtual = port == VIRTUAL
    if virtual and part == MAINS:
        raise NotReady(["A virtual device has no mains: give the port of a real one"])
    usual = SOAKS["virtual" if virtual else "changed" if changed else "real"]
    try:
        soak_s = parse_duration(soak or usual)
    except ValueError as error:
        raise NotReady([f"--soak: {error}"]) from None
    return Wanted(
        port, part, soak_s, tuple(only), changed, _signer(signed_by, virtual), engine, quiet
    )


def _signer(given: str | None, virtual: bool) -> str:
    if given and given.strip():
        return given.strip()
    if virtual:
        return NOBODY
    if not _at_terminal():
        raise NotReady(["Nobody signs this acceptance: add --signed-by and your name"])
    return typer.prompt("Who signs this acceptance?").strip()


def _at_terminal() -> bool:
    return sys.stdin is not None and sys.stdin.isatty()


def _accept(wanted: Wanted) -> tuple["Report", Sequence[StepResult]]:
    """Run the part; return the whole report, and the steps that were done now."""
    if wanted.part == INJECTED:
        return _injected(wanted)
    return _live(wanted)


def _injected(wanted: Wanted) -> tuple["Report", Sequence[StepResult]]:
    from emberbed.acceptance.enter import enter
    from emberbed.acceptance.whole import whole_report
    from emberbed_hil.accept import check_fit, run_steps
    from emberbed_hil.bench import Bench
    from emberbed_hil.virtual import InjectedBench, VirtualHands

    with ExitStack() as stack:
        url, runs_in, hands = wanted.port, "device", None
        if wanted.virtual:
            virtual = stack.enter_context(VirtualDevice(InjectedBench(wanted.engine)))
            url, runs_in, hands = virtual.url, virtual.engine, VirtualHands(virtual)
        else:
            _enter(wanted, url)
        bench = Bench(url, None if wanted.virtual else enter)
        stack.callback(bench.close)
        settings = bench.device.read_settings()
        bench.describe(settings)
        bench.hands = hands or _hands(wanted)
        check_fit(bench)
        steps = _chosen(wanted, bench, settings)
        ran = run_steps(bench, steps, wanted.say)
        report = whole_report(bench.device, settings, _about(wanted, runs_in), INJECTED, ran)
    return report, ran


def _enter(wanted: Wanted, url: str) -> None:
    """Bring a board that runs its usual firmware into its injection entry."""
    from emberbed.acceptance.enter import (
        await_confirmed,
        enter,
        is_confirmed,
        refuse_address,
    )
    from emberbed.acceptance.whole import refuse_other_firmware
    from emberbed.link.device import Device

    with Device.connect(url) as device:
        refuse_other_firmware(device)
        if device.greeting.entry == ENTRY_INJECTED:
            return
        refuse_address(url)
        if not is_confirmed(device):
            wanted.say("It has just started: for 10 s it shows that its firmware runs ...")
            await_confirmed(device)
    wanted.say("No mains and no load for this part. The board goes into its injection entry ...")
    enter(url)


def _chosen(wanted: Wanted, bench: "Bench", settings: bytes) -> "Sequence[Step]":
    from emberbed.acceptance.whole import numbers_still_good
    from emberbed_hil.accept import all_steps, numbered

    steps: Sequence[Step] = all_steps(wanted.soak_s)
    if wanted.only:
        return numbered(steps, wanted.only)
    if not wanted.changed:
        return steps
    good = numbers_still_good(bench.device, settings, wanted.virtual)
    if not good:
        wanted.say("Nothing of an earlier acceptance counts any more: every step is done.")
    return [step for step in steps if step.number not in good]


def _live(wanted: Wanted) -> tuple["Report", Sequence[StepResult]]:
    from emberbed.acceptance.whole import refuse_live, whole_report
    from emberbed.link.device import Device
    from emberbed_hil import lamp_steps, mains_steps
    from emberbed_hil.live import Live

    with ExitStack() as stack:
        url, runs_in, virtual = wanted.port, "device", None
        if wanted.virtual:
            bench = VirtualBench(speed="max", engine=wanted.engine)
            virtual = stack.enter_context(VirtualDevice(bench))
            url, runs_in = virtual.url, virtual.engine
        device = stack.enter_context(Device.connect(url))
        settings = device.read_settings()
        refuse_live(device, settings, wanted.part, wanted.virtual)
        person = _person(wanted, virtual)
        if wanted.part == LAMP:
            ran = lamp_steps.run(Live(device, settings, person), wanted.say)
        else:
            ran = mains_steps.run(person, wanted.say)
        return whole_report(device, settings, _about(wanted, runs_in), wanted.part, ran), ran


def _person(wanted: Wanted, virtual: VirtualDevice | None) -> "Person":
    from emberbed_hil.person import AtVirtualDevice

    if virtual is not None:
        return AtVirtualDevice(virtual, wanted.say)
    if not _at_terminal():
        fail(["This part asks a person at the bench: start it in a terminal"], EXIT_REFUSED)
    return _asked(wanted)


def _hands(wanted: Wanted) -> "Hands | None":
    """Return the hands of whoever sits at the terminal, None where nobody does."""
    from emberbed_hil.person import PersonHands

    return PersonHands(_asked(wanted)) if _at_terminal() else None


def _asked(wanted: Wanted) -> "Person":
    from emberbed_hil.person import Asked

    return Asked(lambda asked: typer.prompt(asked, default="", show_default=False), wanted.say)


def _about(wanted: Wanted, runs_in: str) -> dict[str, object]:
    return {
        "virtual": wanted.virtual,
        "runs_in": runs_in,
        "signed_by": wanted.signed_by,
        "program": __version__,
    }
