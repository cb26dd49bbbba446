"""`emberbed docs`: the handbook as pages, offline, into a folder."""

import webbrowser
from pathlib import Path
from typing import Annotated

import typer

from emberbed import __version__
from emberbed.bench.prepare import NotReady
from emberbed.cli_common import Json, out, print_json, told


def docs(
    to: Annotated[
        Path | None,
        typer.Option(help="Write the pages into this folder; if not given, into your cache."),
    ] = None,
    open_it: Annotated[
        bool, typer.Option("--open", help="Open the first page in the browser.")
    ] = False,
    json_answer: Json = False,
) -> None:
    """Write the handbook as pages for a browser, and say where; nothing is fetched."""
    from emberbed.handbook.write import write_handbook

    with told():
        folder = to or _usual()
        try:
            first = write_handbook(folder)
        except OSError as error:
            raise NotReady(
                [
                    f"The pages cannot be written into {folder} ({error.strerror}): name another"
                    " folder with --to"
                ]
            ) from None
    if json_answer:
        print_json({"first_page": str(first)})
    else:
        out(f"The handbook: {first}")
    if open_it:
        webbrowser.open(first.resolve().as_uri())


def _usual() -> Path:
    import platformdirs  # only when it is needed

    return Path(platformdirs.user_cache_dir("emberbed")) / f"handbook-{__version__}"
