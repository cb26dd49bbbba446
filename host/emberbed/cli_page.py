"""`emberbed page`: options to one server; the page itself decides nothing either.

Says the page's address, which lets in whoever has it, and serves until Ctrl-C.
"""

import json
import webbrowser
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from emberbed.bench.prepare import NotReady
from emberbed.bench.virtual import VirtualBench
from emberbed.bench.with_heater import load_heater
from emberbed.cli_common import (
    VIRTUAL,
    Engine,
    Faults,
    Json,
    Port,
    Seed,
    Sensors,
    Speed,
    StoreFile,
    out,
    out_sentence,
    port_of,
    told,
)
from emberbed.cli_virtual import checked_bench, refuse_on_real_device
from emberbed.store.database import default_path
from emberbed.store.run_store import RunStore

if TYPE_CHECKING:
    from emberbed.page.serve import PageServer

USUAL_PORT = 8437
KEEP_IT = (
    "Keep the address to yourself: who has it can stop and steer a run. Heat starts only at the"
    " device's button. Ctrl-C ends the page."
)


def page(
    profile: Annotated[
        Path | None, typer.Argument(help="A profile file that the page offers first.")
    ] = None,
    device: Port = VIRTUAL,
    speed: Speed = "1",
    fault: Faults = None,
    sensor: Sensors = None,
    seed: Seed = 1,
    engine: Engine = "auto",
    store: StoreFile = None,
    heater: Annotated[
        Path | None, typer.Option(help="The heater's file, as identify writes it.")
    ] = None,
    profiles: Annotated[
        Path | None,
        typer.Option(help="Folder of your own profiles; if not given, beside the store."),
    ] = None,
    port: Annotated[
        int, typer.Option(help="Where the page is; 0 takes a free one.", min=0, max=65535)
    ] = USUAL_PORT,
    share: Annotated[
        str | None,
        typer.Option(
            help="Let a tablet watch and stop: this computer's address on the bench's network."
        ),
    ] = None,
    fahrenheit: Annotated[
        bool,
        typer.Option(
            "--fahrenheit", help="Show readings in °F too; what is asked and stored stays in °C."
        ),
    ] = False,
    open_it: Annotated[bool, typer.Option("--open", help="Open the page in the browser.")] = False,
    json_answer: Json = False,
) -> None:
    """Serve the bench page on this computer: choose, check, rehearse, load, watch, look back."""
    from emberbed.page.run_desk import Bench
    from emberbed.page.serve import Asked, PageServer  # the web server: only when it is needed

    with told():
        if profile is not None and not profile.is_file():
            raise NotReady([f"{profile} is no profile file: leave it out, or name one that exists"])
        device = port_of(device)
        place = store or default_path()
        with RunStore.open(place) as opened:  # a store that cannot be used is told now
            opened.mark_interrupted()
        virtual = _virtual(device, speed, seed, fault or [], engine, sensor or [])
        bench = Bench(device, virtual, place, load_heater(heater))
        own = profiles or place.parent / "profiles"
        asked = Asked(bench, own, profile, port, share, fahrenheit)
        server = PageServer(asked, Console(stderr=True, force_terminal=False))
    _say(server, json_answer)
    if open_it:
        webbrowser.open(server.url)
    server.serve()


def _say(server: "PageServer", json_answer: bool) -> None:
    shared = server.sharing.about()
    if json_answer:
        out(json.dumps({"url": server.url, "port": server.port, "shared": shared}))
        return
    out(f"The bench page: {server.url}")
    if shared is not None:
        out(f"For a tablet, to watch and stop: {shared['url']} with the code {shared['code']}")
    out_sentence(KEEP_IT)


def _virtual(
    device: str, speed: str, seed: int, faults: list[str], engine: str, sensors: list[str]
) -> VirtualBench | None:
    if device == VIRTUAL:
        bench = VirtualBench(speed, seed, tuple(faults), engine, sensors=tuple(sensors))
        return checked_bench(bench)
    virtual_only = {
        "--fault": bool(faults),
        "--sensor": bool(sensors),
        "--speed": speed != "1",
        "--seed": seed != 1,
        "--engine": engine != "auto",
    }
    refuse_on_real_device(device, [name for name, given in virtual_only.items() if given])
    return None
