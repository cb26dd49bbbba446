"""`emberbed materials`: the figures that profiles are judged by, each with its source."""

from typing import Annotated

import typer

from emberbed.cli_common import Json, fail, out, out_sentence, print_json


def materials(
    name: Annotated[
        str | None,
        typer.Argument(help="Show this one in full, or one shelf: alloys, laminates, fluxes, ..."),
    ] = None,
    json_answer: Json = False,
) -> None:
    """List solders, laminates, fluxes and neighbours with their limits and sources."""
    from emberbed.materials import shown
    from emberbed.materials.book import OwnBookFault, own_path, shelves

    try:
        found = (
            [(shelf, row) for shelf, rows in shelves().items() for row in rows.values()]
            if name is None
            else shown.rows_called(name)
        )
    except (OwnBookFault, shown.NotInBook) as fault:
        fail([str(fault)])
    if json_answer:
        print_json(shown.as_json(found))
        return
    if name is not None:
        for _shelf, row in found:
            for line in shown.in_full(row):
                out_sentence(line)
        return
    shelf_before = ""
    for shelf, row in found:
        if shelf != shelf_before:
            out(f"{shelf}:")
            shelf_before = shelf
        out_sentence(f"    {shown.brief(row)}")
    out("package limits:")
    for line in shown.standard_lines():
        out_sentence(f"    {line}")
    out_sentence(f"Your own additions: {own_path()}. emberbed materials NAME tells the sources.")
