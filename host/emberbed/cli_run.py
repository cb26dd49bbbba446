"""`emberbed run`: options to one request, the result to sentences and an exit code.

Nothing is decided here. Exit codes are in bench/outcome.py.
"""

import math
from contextlib import nullcontext
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from emberbed.bench.acts import Act, parse_act
from emberbed.bench.outcome import EXIT_LINK_LOST, EXIT_STOPPED
from emberbed.bench.prepare import NotReady, PlainHold, load_profile
from emberbed.bench.resume import resume_run
from emberbed.bench.self_check import ALARM, MODES
from emberbed.bench.session import RecordFailed, RunRequest, RunResult, run_profile
from emberbed.bench.virtual import VirtualBench
from emberbed.bench.with_heater import load_heater
from emberbed.cli_common import (
    LUMPED,
    VIRTUAL,
    Engine,
    Faults,
    Json,
    PlanAnew,
    Plant,
    Port,
    Seed,
    Sensors,
    Speed,
    StoreFile,
    fail,
    forget_output,
    out,
    out_sentence,
    port_of,
    print_json,
    told,
)
from emberbed.cli_job_common import OfJob, OnBoard
from emberbed.cli_run_live import shown_live
from emberbed.cli_virtual import checked_bench, refuse_on_real_device
from emberbed.jobs.from_run import wish_of
from emberbed.materials.book import UNKNOWN, UnknownMaterial, find_alloy, find_laminate
from emberbed.plain_text import printable
from emberbed.profiles.plain_hold import parse_duration
from emberbed.profiles.reader import ProfileFile
from emberbed.store.run_store import RunStore

HELD_LEAST_C, HELD_MOST_C = 0, 1000  # what can be a temperature at all; the check knows more
ACT_HELP = "what a person does, such as hold_here@90s or offset@2min#3. With --press. Repeatable."


def run(
    profile: Annotated[
        str | None, typer.Argument(help="A profile file, or the name of a shipped one.")
    ] = None,
    hold: Annotated[
        str | None, typer.Option(help="Without a profile: hold this temperature, in °C.")
    ] = None,
    for_time: Annotated[
        str | None, typer.Option("--for", help="With --hold: for how long, such as 30min.")
    ] = None,
    alloy: Annotated[str | None, typer.Option(help="With --hold: the board's solder.")] = None,
    laminate: Annotated[str | None, typer.Option(help="With --hold: the board's laminate.")] = None,
    device: Port = VIRTUAL,
    touch_test: Annotated[
        bool,
        typer.Option(
            "--touch-test", help="First see for 10 s which channel's bead a finger warms."
        ),
    ] = False,
    speed: Speed = "1",
    press: Annotated[
        bool,
        typer.Option(
            "--press", help="Virtual device: let this command press its button and answer prompts."
        ),
    ] = False,
    act: Annotated[list[str] | None, typer.Option(help=f"Virtual device: {ACT_HELP}")] = None,
    fault: Faults = None,
    sensor: Sensors = None,
    seed: Seed = 1,
    engine: Engine = "auto",
    plant: Plant = LUMPED,
    job: OfJob = None,
    board: OnBoard = None,
    store: StoreFile = None,
    page: Annotated[
        Path | None, typer.Option(help="Where the run's page goes; if not given, beside the store.")
    ] = None,
    heater: Annotated[
        Path | None,
        typer.Option(help="The heater's file, as identify writes it: learn the board on it."),
    ] = None,
    plan_anew: PlanAnew = False,
    self_check: Annotated[
        str,
        typer.Option(
            "--self-check",
            help="What a difference between the device and a copy of its firmware does: alarm,"
            " trip (heat off) or off (no copy).",
        ),
    ] = ALARM,
    resume: Annotated[
        bool,
        typer.Option(
            "--resume",
            help="Without a profile: take over the run that a real device is in and that a program"
            " which has ended left open.",
        ),
    ] = False,
    live: Annotated[
        bool, typer.Option("--live", help="Show this run on the bench page too; says its address.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", help="No bell at a prompt or a trip.")] = False,
    json_answer: Json = False,
) -> None:
    """Check a profile, send it, wait for the press at the device, run, watch and record it."""
    with told():
        asked = None
        if not resume:
            asked = _asked(profile, hold, for_time, alloy, laminate)
        elif any(one is not None for one in (profile, hold, job, board)) or touch_test:
            lacks = "leave the profile, --hold, --touch-test, --job and --board out"
            raise NotReady([f"--resume goes on with what the device does already: {lacks}"])
        device = port_of(device)
        virtual_only = {
            "--press": press,
            "--act": bool(act),
            "--fault": bool(fault),
            "--sensor": bool(sensor),
            "--speed": speed != "1",
            "--seed": seed != 1,
            "--engine": engine != "auto",
            "--plant": plant != LUMPED,
        }
        virtual = None
        if device == VIRTUAL:
            bench = VirtualBench(
                speed, seed, tuple(fault or ()), engine, sensors=tuple(sensor or ()), plant=plant
            )
            virtual = checked_bench(bench, asked)
        else:
            refuse_on_real_device(device, [name for name, given in virtual_only.items() if given])
        acts = _acts(act or [], press)
        known = load_heater(heater, plan_anew)
        if self_check not in MODES:
            known_modes = "use alarm, trip or off"
            raise NotReady([f"--self-check {printable(self_check)} is not known: {known_modes}"])
        request = RunRequest(
            asked, device, virtual, press, page, quiet, acts, touch_test, known,
            self_check=self_check, job=wish_of(job, board),
        )  # fmt: skip
        with shown_live(request, store) if live else nullcontext(request) as request:
            result = run_asked(request, store, Console(stderr=json_answer))
    try:
        tell_result(result, json_answer)
    except (OSError, typer.Exit):  # nobody reads; what the run came to must not depend on that
        forget_output()
    raise typer.Exit(result.outcome.exit_code)


def _asked(
    profile: str | None,
    hold: str | None,
    for_time: str | None,
    alloy: str | None,
    laminate: str | None,
) -> ProfileFile | PlainHold:
    """Return the profile, or the plain hold, of which exactly one must be asked for."""
    hold_options = {"--for": for_time, "--alloy": alloy, "--laminate": laminate}
    given = [name for name, option in hold_options.items() if option is not None]
    if profile is not None:
        if hold is not None:
            raise NotReady(["A profile and --hold are two different runs: leave one of them out"])
        if given:
            raise NotReady([f"{given[0]} belongs to --hold: leave it out, the profile says it"])
        return load_profile(profile)
    if hold is None:
        raise NotReady(
            [
                "Nothing is asked for: name a profile (emberbed profiles lists some), or hold a"
                " temperature with --hold 120 --for 30min"
            ]
        )
    if for_time is None:
        lacks = "lacks its time: add --for, such as --for 30min"
        raise NotReady([f"--hold {printable(hold)} {lacks}"])
    return _plain_hold(_held_c(hold), for_time, alloy, laminate)


def _held_c(hold: str) -> float:
    try:
        temperature_c = float(hold)
    except ValueError:
        temperature_c = math.nan
    if not HELD_LEAST_C <= temperature_c <= HELD_MOST_C:  # not a number too
        mend = "write it in °C, such as --hold 120"
        raise NotReady([f"--hold {printable(hold)} is no temperature of a board: {mend}"])
    return temperature_c


def _plain_hold(
    temperature_c: float, for_time: str, alloy: str | None, laminate: str | None
) -> PlainHold:
    try:
        for_s = parse_duration(for_time)
        find_alloy(alloy or UNKNOWN)
        find_laminate(laminate or UNKNOWN)
    except (ValueError, UnknownMaterial) as error:
        option = "--for" if isinstance(error, ValueError) else "--alloy or --laminate"
        raise NotReady([f"{option}: {error}"]) from None
    return PlainHold(temperature_c, for_s, alloy or UNKNOWN, laminate or UNKNOWN)


def _acts(texts: list[str], press: bool) -> tuple[Act, ...]:
    if texts and not press:
        raise NotReady(["--act is what a script does: add --press, so that there is one"])
    try:
        return tuple(parse_act(text) for text in texts)
    except ValueError as error:
        raise NotReady([str(error)]) from None


def run_asked(request: RunRequest, store: Path | None, console: Console) -> RunResult:
    """Run what is asked for, stored in `store`, watched on `console`."""
    try:
        with RunStore.open(store) as run_store:
            if request.asked is None:
                return resume_run(request, run_store, console)
            run_store.mark_interrupted(request.device)
            return run_profile(request, run_store, console)
    except RecordFailed as failed:
        fail([str(failed)], EXIT_LINK_LOST)
    except KeyboardInterrupt:  # from arming on it is counted instead
        fail(["Stopped before the start: nothing was heated"], EXIT_STOPPED)


def tell_result(result: RunResult, json_answer: bool) -> None:
    """Say how a run ended, to a person or a script."""
    if result.page_failed:
        typer.echo(result.page_failed, err=True)
    if json_answer:
        print_json(
            {
                "run": result.run_id,
                "goes_on_with": list(result.earlier),
                "state": result.outcome.state,
                "exit_code": result.outcome.exit_code,
                "limits_exceeded": result.limits_exceeded,
                "page": None if result.page_failed else str(result.page),
                "ending": result.ending,
            }
        )
        return
    stored = f"Run {result.run_id} is stored; its page"
    if result.earlier:
        before = " and ".join(str(run_id) for run_id in result.earlier)
        plural = "run" if len(result.earlier) == 1 else "runs"
        stored = f"Run {result.run_id} goes on with {plural} {before}; all are stored, its page"
    out(f"{stored}: {'none' if result.page_failed else result.page}")
    for line in result.ending:  # last, so that it stays on the screen
        out_sentence(line)
