"""`emberbed board`: what a board needs of a heater, before there is a profile for it."""

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from emberbed.cli_common import Json, fail, out_sentence, print_json

USUAL_HEATER_W, USUAL_BANK = 1000.0, "220,150"
HOT_C = (60.0, 200.0)
HEATER_W = (50.0, 3600.0)


def board(
    size: Annotated[str, typer.Option(help="The board as LENGTH,WIDTH in mm.")],
    thickness: Annotated[float, typer.Option(help="Its thickness, mm.")] = 1.6,
    layers: Annotated[int, typer.Option(help="Its copper layers.")] = 4,
    copper: Annotated[float, typer.Option(help="Copper left on each layer, %.")] = 50.0,
    chip: Annotated[float, typer.Option(help="Side of the chip in its middle, mm.")] = 27.0,
    shield: Annotated[
        list[str] | None,
        typer.Option(help="A metal shield as LENGTH,WIDTH,X,Y in mm. Repeatable."),
    ] = None,
    mass: Annotated[
        float | None, typer.Option(help="What a kitchen scale says, g; else estimated.")
    ] = None,
    parts: Annotated[
        str, typer.Option(help="Without --mass: sparse, usual or dense with parts.")
    ] = "usual",
    at: Annotated[float, typer.Option(help="°C to hold it at from below.")] = 150.0,
    heater: Annotated[float, typer.Option(help="The heater at full power, W.")] = USUAL_HEATER_W,
    bank: Annotated[str, typer.Option(help="Its face as LENGTH,WIDTH in mm.")] = USUAL_BANK,
    circuit: Annotated[int, typer.Option(help="Its circuit: 10, 13, 15 or 16 A.")] = 16,
    mains: Annotated[
        float | None, typer.Option(help="Mains voltage; else 120 V for 15 A, 230 V.")
    ] = None,
    tool: Annotated[float, typer.Option(help="A hot-air tool on the same circuit, W.")] = 0.0,
    map_file: Annotated[
        Path | None, typer.Option("--map", help="Draw the expected temperatures as SVG.")
    ] = None,
    json_answer: Json = False,
) -> None:
    """Tell what a board needs: heat, circuit, expected spread, where thermocouples go."""
    from emberbed import rehearse_board, rehearse_board_lines
    from emberbed.builder.asked import BadBoard, board_asked, numbers
    from emberbed.cli_files import check_places, write_file

    check_places({"--map": map_file})
    try:
        asked = board_asked(size, thickness, layers, copper, chip, shield or [], mass, parts)
        length_mm, width_mm = numbers("--bank", bank, 2, "LENGTH,WIDTH in mm such as 220,150")
        supply = _supply(circuit, mains, tool, heater)
        if not HOT_C[0] <= at <= HOT_C[1]:
            raise BadBoard(f"--at {at:g} is outside {HOT_C[0]:g} to {HOT_C[1]:g} °C; write one")
        built = rehearse_board.build(asked, heater, (length_mm, width_mm))
    except BadBoard as why:
        fail([str(why)])
    with Console(stderr=True).status("Warming the simulated board"):
        found = rehearse_board.outlook(built, at, supply.left_w)
    if map_file is not None:
        from emberbed.report.board_map import board_svg

        write_file(map_file, board_svg(rehearse_board_lines.picture_of(found)))
    if json_answer:
        print_json(rehearse_board_lines.as_json(found, supply))
        return
    for line in rehearse_board_lines.as_lines(found, supply):
        out_sentence(line)


def _supply(amps: int, mains: float | None, tool_w: float, heater_w: float):
    from emberbed.builder.asked import BadBoard
    from emberbed.builder.circuits import BadCircuit, Supply, circuit_at

    try:
        circuit, volts = circuit_at(amps, mains)
    except BadCircuit as why:
        raise BadBoard(str(why)) from None
    if not HEATER_W[0] <= heater_w <= HEATER_W[1]:
        raise BadBoard(f"--heater {heater_w:g} is outside {HEATER_W[0]:g} to {HEATER_W[1]:g} W")
    if not 0 <= tool_w <= HEATER_W[1]:
        raise BadBoard(f"--tool {tool_w:g} is outside 0 to {HEATER_W[1]:g} W; write its watts")
    return Supply(circuit, volts, tool_w, heater_w)
