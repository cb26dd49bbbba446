"""`emberbed survey`: where a heater is uneven, from nine positions of one roving couple."""

from pathlib import Path
from typing import Annotated

import typer

from emberbed.cli_common import (
    Engine,
    Json,
    Seed,
    Speed,
    StoreFile,
    fail,
    out_sentence,
    print_json,
)
from emberbed.cli_files import check_places, write_file
from emberbed.cli_step_test import OnDevice, check_source
from emberbed.materials.book import UNKNOWN

USUAL_GAP_MM = 40.0  # emitters to the underside of the board
USUAL_CHIP_MM = 40.0  # a large package with a finger's width around it
USUAL_HOLD_C = 100.0
NOTHING = (
    "Nothing to survey: name a file with --from, or let a run ask for each point with --device"
    " virtual --board 180,120"
)


def survey(
    source: Annotated[
        Path | None,
        typer.Option("--from", help="CSV: x_mm, y_mm, temperature_c, control_c."),
    ] = None,
    device: Annotated[
        str | None,
        typer.Option(help="Guided run on a device: virtual, a serial port, or a URL."),
    ] = None,
    board: Annotated[
        str | None,
        typer.Option(help="The board as LENGTH,WIDTH in mm; with --from it helps the trims."),
    ] = None,
    hold: Annotated[
        float, typer.Option(help="With --device: °C at which the nine points are measured.")
    ] = USUAL_HOLD_C,
    roving: Annotated[
        str | None,
        typer.Option(help="With --device: the couple that moves; if not given, the second."),
    ] = None,
    alloy: Annotated[str, typer.Option(help="With --device: the board's solder.")] = UNKNOWN,
    laminate: Annotated[str, typer.Option(help="With --device: its laminate.")] = UNKNOWN,
    press: Annotated[
        bool,
        typer.Option(
            "--press", help="Virtual device: let this command press its button, move the couple."
        ),
    ] = False,
    speed: Speed = "1",
    emitters: Annotated[
        str,
        typer.Option(help="Virtual device: what emitters in a row give, such as 1,0.7,1."),
    ] = "",
    seed: Seed = 1,
    engine: Engine = "auto",
    store: StoreFile = None,
    to: Annotated[
        Path | None, typer.Option("--out", help="With --device: write the points, for --from.")
    ] = None,
    zone: Annotated[
        list[str] | None,
        typer.Option(help="A zone's emitters as X,Y,LENGTH,WIDTH in mm, in the zones' order."),
    ] = None,
    gap: Annotated[
        float, typer.Option(help="Emitters to the underside of the board, mm.")
    ] = USUAL_GAP_MM,
    chip: Annotated[
        float, typer.Option(help="Side of what must be heated evenly, mm.")
    ] = USUAL_CHIP_MM,
    picture: Annotated[Path | None, typer.Option(help="Write the map as SVG.")] = None,
    json_answer: Json = False,
) -> None:
    """Find weak emitters in nine temperatures of a steady, hot scrap board (use tweezers)."""
    from emberbed.cli_survey_run import Wanted, guided_survey
    from emberbed.heater.csv_reader import TableMistake
    from emberbed.survey import report
    from emberbed.survey.asked import Asked, find, parse_board, parse_zone
    from emberbed.survey.positions import read_survey

    on_device = {
        "--hold": hold != USUAL_HOLD_C,
        "--roving": roving is not None,
        "--alloy": alloy != UNKNOWN,
        "--laminate": laminate != UNKNOWN,
        "--press": press,
        "--speed": speed != "1",
        "--emitters": bool(emitters),
        "--seed": seed != 1,
        "--engine": engine != "auto",
        "--store": store is not None,
        "--out": to is not None,
    }
    check_source(source, device, on_device, {}, NOTHING)
    check_places({"--picture": picture, "--out": to})
    about: dict[str, object] = {}
    doubts: list[str] = []
    try:
        size = None if board is None else parse_board(board)
        asked = Asked(chip, [parse_zone(text) for text in zone or []], gap, size)
        if source is not None:
            positions = read_survey(source)
        else:
            assert device is not None
            where = OnDevice(device, press, speed, seed, engine, store)
            wanted = Wanted(hold, asked, roving, alloy, laminate, emitters)
            guided = guided_survey(wanted, where, to, json_answer)
            positions, doubts, about = guided.survey, guided.doubts, guided.about
        found = find(positions, asked)
    except TableMistake as mistake:
        fail([str(mistake)])
    if picture is not None:
        write_file(picture, report.picture(found))
    if json_answer:
        print_json({**report.as_json(found), **about})
        return
    for line in [*doubts, *report.as_lines(found)]:
        out_sentence(line)
