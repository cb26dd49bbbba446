"""`emberbed doctor`: one screen that says what is here, what is wrong, and the mend."""

from typing import Annotated

import typer

from emberbed.cli_common import AUTO, Json, StoreFile, out, out_sentence, print_json, told, working

EXIT_WRONG = 1  # something has to be mended; bad input is 2, as everywhere
WIDTH = 14  # of the names of the rows


def doctor(
    device: Annotated[
        str,
        typer.Option(
            "--device",
            help="The device to look at: 'auto', 'virtual', a serial port or a URL.",
        ),
    ] = AUTO,
    store: StoreFile = None,
    json_answer: Json = False,
) -> None:
    """Tell what is here and what is wrong, with the mend; nothing is changed and nothing heats.

    Exit code 1 when something has to be mended.
    """
    from emberbed.doctor import attached, computer
    from emberbed.store.database import default_path

    path = store or default_path()
    with told(), working("Looking"):
        rows = [
            computer.versions(),
            computer.interpreter(),
            computer.store(path),
            computer.disk(path),
            *computer.own_files(),
            *attached.rows(device),
        ]
    wrong = [row for row in rows if row.is_wrong]
    if json_answer:
        print_json([row.as_json() for row in rows])
    else:
        for row in rows:
            out(f"{'!' if row.is_wrong else ' '} {row.what:<{WIDTH}} {row.told}")
            if row.is_wrong:
                out(f"  {'':<{WIDTH}} mend: {row.mend}")
        out_sentence(_verdict(len(wrong)))
    if wrong:
        raise typer.Exit(EXIT_WRONG)


def _verdict(wrong: int) -> str:
    if not wrong:
        return "Nothing wrong was found."
    return f"{wrong} thing{'s have' if wrong > 1 else ' has'} to be mended."
