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

from emberbed.bench.prepare import NotReady
from emberbed.bench.session import RunRequest
from emberbed.store.database import default_path


@contextmanager
def shown_live(request: RunRequest, store: Path | None) -> Iterator[RunRequest]:
    """Serve the page at a free port; give the request with the page as its watcher.

    Raises NotReady for a run that is taken over in its middle.
    """
    if request.asked is None:
        raise NotReady(["--live shows a run from its start on: leave it out with --resume"])
    from emberbed.page.run_desk import Bench  # the web server: only when it is needed
    from emberbed.page.serve import Asked, PageServer

    place = store or default_path()
    bench = Bench(request.device, request.virtual, place, request.heater)
    asked = Asked(bench, place.parent, place.parent / "profiles")
    server = PageServer(asked, Console(quiet=True), fixed=True)
    typer.echo(f"The bench page: {server.url}", err=True)
    end = server.in_background()
    try:
        yield replace(request, watcher=server.desk.seat)
    finally:
        server.desk.gone()
        end()
