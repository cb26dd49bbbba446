"""The command `emberbed`: words to calls, failures to one sentence and an exit code.

Nothing is decided here. Exit codes of `run` are in bench/outcome.py; every other command ends with
0, or 2 for bad input (`check` too when it finds an error; `runs audit` with 1 for a changed run).
"""

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from emberbed import __version__, cli_device, cli_profiles, cli_runs
from emberbed.bench.outcome import EXIT_LINK_LOST, EXIT_STOPPED
from emberbed.bench.prepare import NotReady, load_profile
from emberbed.bench.session import RecordFailed, RunRequest, RunResult, run_profile
from emberbed.bench.virtual import VirtualBench
from emberbed.cli_common import (
    FAULT_HELP,
    MOST_SEED,
    VIRTUAL,
    Json,
    Port,
    StoreFile,
    fail,
    forget_output,
    out,
    out_sentence,
    print_json,
    survive_any_terminal,
    told,
)
from emberbed.profiles.reader import ProfileFile
from emberbed.store.run_store import RunStore

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Runs an infrared bottom heater for board rework: checks, rehearses, watches, records.",
)
app.add_typer(cli_runs.app, name="runs")
app.add_typer(cli_device.app, name="device")
cli_profiles.add_commands(app)


def _say_version(wanted: bool) -> None:
    if wanted:
        out(f"emberbed {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool,
        typer.Option("--version", help="Say the version.", callback=_say_version, is_eager=True),
    ] = False,
) -> None:
    pass


@app.command()
def run(
    profile: Annotated[str, typer.Argument(help="A profile file, or the name of a shipped one.")],
    device: Port = VIRTUAL,
    speed: Annotated[
        str, typer.Option(help="Virtual device: 0.1 to 1000, or max; 1 is real time.")
    ] = "1",
    press: Annotated[
        bool,
        typer.Option(
            "--press", help="Virtual device: let this command press its button and answer prompts."
        ),
    ] = False,
    fault: Annotated[list[str] | None, typer.Option(help=f"Virtual device: {FAULT_HELP}")] = None,
    seed: Annotated[int, typer.Option(help="Virtual device: its noise.", min=0, max=MOST_SEED)] = 1,
    engine: Annotated[
        str, typer.Option(help="Virtual device: auto, micropython or cpython.")
    ] = "auto",
    store: StoreFile = None,
    page: Annotated[
        Path | None, typer.Option(help="Where the run's page goes; if not given, beside the store.")
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="No bell at a prompt or a trip.")] = False,
    json_answer: Json = False,
) -> None:
    """Check a profile, send it, wait for the press at the device, run, watch and record it."""
    with told():
        profile_file = load_profile(profile)
        virtual = _virtual_bench(
            profile_file, device, speed, seed, tuple(fault or ()), engine, press
        )
        request = RunRequest(profile_file, device, virtual, press, page, quiet)
        result = _run(request, store, Console(stderr=json_answer))
    try:
        _tell_result(result, json_answer)
    except (OSError, typer.Exit):  # nobody reads; what the run came to must not depend on that
        forget_output()
    raise typer.Exit(result.outcome.exit_code)


def _run(request: RunRequest, store: Path | None, console: Console) -> RunResult:
    try:
        with RunStore.open(store) as run_store:
            run_store.mark_interrupted()
            return run_profile(request, run_store, console)
    except RecordFailed as failed:
        fail([str(failed)], EXIT_LINK_LOST)
    except KeyboardInterrupt:  # from arming on it is counted instead
        fail(["Stopped before the start: nothing was heated"], EXIT_STOPPED)


def _virtual_bench(
    profile_file: ProfileFile,
    device: str,
    speed: str,
    seed: int,
    faults: tuple[str, ...],
    engine: str,
    press: bool,
) -> VirtualBench | None:
    """Return what to simulate; None for a real device, which takes none of these options."""
    if device != VIRTUAL:
        asked = {
            "--press": press,
            "--fault": faults,
            "--speed": speed != "1",
            "--seed": seed != 1,
            "--engine": engine != "auto",
        }
        _refuse_on_real_device(device, [option for option, given in asked.items() if given])
        return None
    if engine not in ("auto", "micropython", "cpython"):
        raise NotReady([f"--engine {engine} is not known: use auto, micropython or cpython"])
    board = profile_file.model.board
    return VirtualBench(
        _checked_speed(speed), seed, faults, engine, board.mass_g, board.length_mm, board.width_mm
    )


def _refuse_on_real_device(device: str, options: list[str]) -> None:
    if not options:
        return
    work, them = ("works", "it") if len(options) == 1 else ("work", "them")
    raise NotReady(
        [
            f"{' and '.join(options)} only {work} on the virtual device: the one at {device} has"
            f" its own button, time and faults; leave {them} out"
        ]
    )


def _checked_speed(speed: str) -> str:
    if speed == "max":
        return speed
    try:
        factor = float(speed)
    except ValueError:
        raise NotReady([f"--speed {speed} is not a number: use 0.1 to 1000, or max"]) from None
    if not 0.1 <= factor <= 1000:
        raise NotReady([f"--speed {speed} is out of range: use 0.1 to 1000, or max"])
    return speed


def _tell_result(result: RunResult, json_answer: bool) -> None:
    if result.page_failed:
        typer.echo(result.page_failed, err=True)
    if json_answer:
        print_json(
            {
                "run": result.run_id,
                "state": result.outcome.state,
                "exit_code": result.outcome.exit_code,
                "limits_exceeded": result.limits_exceeded,
                "page": None if result.page_failed else str(result.page),
                "ending": result.ending,
            }
        )
        return
    out(f"Run {result.run_id} is stored; its page: {'none' if result.page_failed else result.page}")
    for line in result.ending:  # last, so that it stays on the screen
        out_sentence(line)


def main() -> None:
    """Entry point of the console script."""
    survive_any_terminal()
    app()


if __name__ == "__main__":
    main()
