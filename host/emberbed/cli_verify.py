"""`emberbed verify`: prove the firmware against every fault and healthy days, nothing heated."""

import json
import shlex
import signal
import sys
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from emberbed.bench.outcome import EXIT_REFUSED
from emberbed.cli_common import MOST_SEED, Json, fail, out, print_json
from emberbed.cli_files import write_file

EXIT_MISSED = 1
USUAL_SEEDS, USUAL_RUNS, USUAL_PAIRS = 3, 1000, 300
QUICK_RUNS, QUICK_PAIRS, QUICK_BUGS, QUICK_TAPES, QUICK_PART = 40, 40, 4, 2, 4
QUICK_COMPARED = 2


def verify(
    seeds: Annotated[
        int, typer.Option(help="Random benches for each cell of the table.", min=1, max=100000)
    ] = USUAL_SEEDS,
    runs: Annotated[
        int, typer.Option(help="Healthy days, for false trips.", min=0, max=10**7)
    ] = USUAL_RUNS,
    pairs: Annotated[
        int, typer.Option(help="Pairs of faults: one more during the reaction to one.", min=0)
    ] = USUAL_PAIRS,
    to: Annotated[
        Path | None, typer.Option("--out", help="Folder for the evidence and every result.")
    ] = None,
    quick: Annotated[
        bool, typer.Option("--quick", help="A part of it, in under a minute.")
    ] = False,
    only: Annotated[
        str, typer.Option(help="One fault, such as tc_open; 'healthy'; or 'FAULT then FAULT'.")
    ] = "",
    phase: Annotated[
        str, typer.Option(help="One phase: idle, arming, ramp, soak, waiting, hot_air, ...")
    ] = "",
    setup: Annotated[str, typer.Option(help="One setup, such as one/with/known.")] = "",
    replay: Annotated[
        int | None,
        typer.Option(help="Run this one seed again, as a miss tells it.", min=0, max=MOST_SEED),
    ] = None,
    dask: Annotated[
        str, typer.Option(help="Do the work on a dask cluster, such as tcp://10.0.0.5:8786.")
    ] = "",
    workers: Annotated[
        int, typer.Option(help="Processes; 0 = one for each core.", min=0, max=1024)
    ] = 0,
    engine: Annotated[
        str,
        typer.Option(help="What runs the firmware: cpython, or pypy; auto: pypy where it is."),
    ] = "auto",
    json_answer: Json = False,
) -> None:
    """Prove the firmware: every fault in every phase, healthy days, and bugs put in on purpose."""
    from emberbed import verify as proof
    from emberbed.verify_page import page, summary, verdict

    asked = proof.Asked(
        range(seeds), runs, pairs, only, phase, setup, to, dask, workers, engine=engine
    )
    if quick:
        asked = replace(
            asked, seeds=range(1), runs=QUICK_RUNS, pairs=QUICK_PAIRS, bugs=QUICK_BUGS,
            tapes=QUICK_TAPES, compared=QUICK_COMPARED,
            part_of_cells=1 if only or phase or setup else QUICK_PART,
        )  # fmt: skip
    if replay is not None:
        asked = replace(asked, seeds=range(replay, replay + 1), runs=1)
    # ended from outside it keeps its results and takes its workers along, as by Ctrl-C
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        campaign = proof.Campaign(asked)
        campaign.run(_say)
    except proof.VerifyError as error:
        fail([str(error)], EXIT_REFUSED)
    evidence = campaign.evidence()
    if to is not None:
        command = shlex.join(["emberbed", *sys.argv[1:]])
        write_file(to / "evidence.json", json.dumps(evidence, indent=1, ensure_ascii=False))
        write_file(to / "evidence.html", page(evidence, command))
        write_file(to / "evidence.md", summary(evidence, command))
    if json_answer:
        print_json(evidence)
    else:
        out(verdict(evidence))
    bugs = evidence["seeded_bugs"]
    if evidence["missed"] or evidence["false_trips"] or bugs["caught"] < bugs["of"]:
        raise typer.Exit(EXIT_MISSED)
    if evidence["interpreter"]["differs"] or evidence["engines"]["differs"]:
        raise typer.Exit(EXIT_MISSED)


def _say(line: str) -> None:
    typer.echo(line, err=True)
