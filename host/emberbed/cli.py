"""The command `emberbed`: words to calls, failures to one sentence and an exit code.

Nothing is decided here. Exit codes of `run` are in bench/outcome.py; every other command ends with
0, or 2 for bad input (`check` too when it finds an error; `runs audit` with 1 for a changed run).
"""

from typing import Annotated

import typer

from emberbed import (
    __version__,
    cli_board,
    cli_device,
    cli_heater,
    cli_job,
    cli_materials,
    cli_moisture,
    cli_page,
    cli_profiles,
    cli_run,
    cli_runs,
    cli_survey,
    cli_verify,
)
from emberbed.cli_common import out, survive_any_terminal

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Runs an infrared bottom heater for board rework: checks, rehearses, watches, records.",
)
app.command()(cli_run.run)
app.command()(cli_page.page)
app.add_typer(cli_runs.app, name="runs")
app.add_typer(cli_job.app, name="job")
app.add_typer(cli_device.app, name="device")
app.add_typer(cli_moisture.app, name="moisture")
cli_profiles.add_commands(app)
cli_heater.add_commands(app)
cli_survey.add_commands(app)
cli_verify.add_commands(app)
cli_materials.add_commands(app)
cli_board.add_commands(app)


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


def main() -> None:
    """Entry point of the console script."""
    survive_any_terminal()
    app()


if __name__ == "__main__":
    main()
