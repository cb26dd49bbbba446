"""`emberbed survey`: where a heater is uneven, from nine positions of one roving couple."""

from pathlib import Path
from typing import Annotated

import typer

from emberbed.cli_common import Json, fail, out_sentence, print_json
from emberbed.cli_files import check_places, write_file

USUAL_GAP_MM = 40.0  # emitters to the underside of the board
USUAL_CHIP_MM = 40.0  # a large package with a finger's width around it


def add_commands(app: typer.Typer) -> None:
    """Put the command on the root."""
    app.command()(survey)


def survey(
    source: Annotated[
        Path, typer.Option("--from", help="CSV: x_mm, y_mm, temperature_c, control_c.")
    ],
    zone: Annotated[
        list[str] | None,
        typer.Option(help="A zone's emitters as X,Y,LENGTH,WIDTH in mm, in the zones' order."),
    ] = None,
    gap: Annotated[
        float, typer.Option(help="Emitters to the underside of the board, mm.")
    ] = USUAL_GAP_MM,
    board: Annotated[
        str | None, typer.Option(help="The board as LENGTH,WIDTH in mm; helps the trims.")
    ] = None,
    chip: Annotated[
        float, typer.Option(help="Side of what must be heated evenly, mm.")
    ] = USUAL_CHIP_MM,
    picture: Annotated[Path | None, typer.Option(help="Write the map as SVG.")] = None,
    json_answer: Json = False,
) -> None:
    """Find weak emitters in nine temperatures of a steady, hot scrap board (use tweezers)."""
    from emberbed.heater.csv_reader import TableMistake
    from emberbed.survey import report
    from emberbed.survey.asked import find, parse_board, parse_zone
    from emberbed.survey.positions import read_survey

    check_places({"--picture": picture})
    try:
        zones = [parse_zone(text) for text in zone or []]
        size = None if board is None else parse_board(board)
        found = find(read_survey(source), chip, zones, gap, size)
    except TableMistake as mistake:
        fail([str(mistake)])
    if picture is not None:
        write_file(picture, report.picture(found))
    if json_answer:
        print_json(report.as_json(found))
        return
    for line in report.as_lines(found):
        out_sentence(line)
