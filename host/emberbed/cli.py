"""The command `emberbed`: words to calls, failures to one sentence and an exit code.

Nothing is decided here. Exit codes of `run` are in bench/outcome.py; every other command ends with
0, or 2 for bad input (`check` too when it finds an error; `runs audit` with 1 for a changed run,
`doctor` with 1 when something has to be mended).
"""

from pathlib import Path
from typing import Annotated, Any

import typer

from emberbed import __version__
from emberbed.cli_common import begin_log, fail, out, survive_any_terminal, watched
from emberbed.cli_late import Late, group_of

COMMANDS = {
    "run": Late(
        "cli_run",
        "run",
        "Check a profile, send it, wait for the press at the device, run, watch and record it.",
    ),
    "page": Late(
        "cli_page",
        "page",
        "Serve the bench page on this computer: choose, check, rehearse, load, watch, look back.",
    ),
    "check": Late(
        "cli_profiles",
        "check",
        "Judge a profile against board, solder, laminate and the simulated heater; nothing heats.",
    ),
    "rehearse": Late(
        "cli_profiles",
        "rehearse",
        "Run a profile on the simulated heater in seconds and show the predicted curve.",
    ),
    "profiles": Late("cli_profiles", "profiles", "List the profiles that come with emberbed."),
    "identify": Late(
        "cli_heater",
        "identify",
        "Find the numbers of a heater by a step test, or in a file; writes a heater file.",
    ),
    "tune": Late(
        "cli_heater",
        "tune",
        "Find gains for a heater by the published rules, refine them, put them into its file.",
    ),
    "survey": Late(
        "cli_survey",
        "survey",
        "Find weak emitters in nine temperatures of a steady, hot scrap board (use tweezers).",
    ),
    "verify": Late(
        "cli_verify",
        "verify",
        "Prove the firmware: every fault in every phase, healthy days, and bugs put in on purpose.",
    ),
    "materials": Late(
        "cli_materials",
        "materials",
        "List solders, laminates, fluxes and neighbours with their limits and sources.",
    ),
    "board": Late(
        "cli_board",
        "board",
        "Tell what a board needs: heat, circuit, expected spread, where thermocouples go.",
    ),
    "docs": Late(
        "cli_docs",
        "docs",
        "Write the handbook as pages for a browser, and say where; nothing is fetched.",
    ),
    "runs": Late("cli_runs", "app", "List, show, export, replay and audit recorded runs."),
    "job": Late(
        "cli_job",
        "app",
        "The bench record: what was done to a board, at what cost, and what came of it.",
    ),
    "doctor": Late(
        "cli_doctor",
        "doctor",
        "Tell what is here and what is wrong, with the mend; nothing is changed and nothing heats.",
    ),
    "device": Late("cli_device", "app", "Ask a real or virtual device."),
    "sensor": Late(
        "cli_sensor",
        "app",
        "Calibrate thermocouples; tell by how much a reading may be off.",
    ),
    "moisture": Late(
        "cli_moisture",
        "app",
        "Keep account of floor life, tell bake times, estimate how dry a run makes a package.",
    ),
}

app = typer.Typer(
    cls=group_of(COMMANDS),
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Runs an infrared bottom heater for board rework: checks, rehearses, watches, records.",
)


def _say_version(wanted: bool) -> None:
    if wanted:
        out(f"emberbed {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    context: typer.Context,
    version: Annotated[
        bool,
        typer.Option("--version", help="Say the version.", callback=_say_version, is_eager=True),
    ] = False,
    log: Annotated[
        Path | None,
        typer.Option("--log", help="Write a log to this file; nobody is named in it."),
    ] = None,
    verbose: Annotated[
        bool,
        typer.Option(
            "--verbose", help="Log in detail; without --log into your log folder, which is said."
        ),
    ] = False,
) -> None:
    if log is not None or verbose:
        begin_log(log, verbose, context.invoked_subcommand or "")
    context.default_map = _settings()


def _settings() -> dict[str, dict[str, Any]]:
    """Return what options are by the person's settings."""
    from emberbed.settings_file import SettingsFault, read_settings  # not for the list of commands

    try:
        return read_settings().for_options()
    except SettingsFault as fault:
        fail([str(fault)])


def main() -> None:
    """Entry point of the console script."""
    survive_any_terminal()
    with watched():
        app()


if __name__ == "__main__":
    main()
