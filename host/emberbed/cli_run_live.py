"""`emberbed run --live`: the run of a terminal on the bench page too, for as long as it lasts.

The page sees what the terminal sees and may stop, answer and change; the next run is the terminal's
to choose.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import typer
from rich.console import Console

from emberbed.bench.session import RunRequest
from emberbed.settings_file import read_settings
from emberbed.store.database import default_path


@contextmanager
def shown_live(request: RunRequest, store: Path | None) -> Iterator[RunRequest]:
    """Serve the page at a free port; give the request with the page as its watcher."""
    from emberbed.page.run_desk import Bench  # the web server: only when it is needed
    from emberbed.page.serve import Asked, PageServer

    place = store or default_path()
    virtual = request.virtual if request.asked is not None else None  # only real runs go on
    bench = Bench(request.device, virtual, place, request.heater)
    asked = Asked(bench, place.parent / "profiles", fahrenheit=bool(read_settings().fahrenheit))
    server = PageServer(asked, Console(quiet=True), fixed=True)
    typer.echo(f"The bench page: {server.url}", err=True)
    end = server.in_background()
    try:
        yield replace(request, watcher=server.desk.seat)
    finally:
        server.desk.gone()
        end()
