"""`emberbed device`: what a device says of itself."""

import typer

from emberbed.bench.prepare import read_description
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.cli_common import VIRTUAL, Json, Port, out, print_json, told
from emberbed.link.device import Device
from emberbed.link.events import Greeting
from emberbed.words import state_words

app = typer.Typer(no_args_is_help=True, help="Ask a real or virtual device.")


@app.callback()
def _group() -> None:
    pass


@app.command()
def info(device: Port = VIRTUAL, json_answer: Json = False) -> None:
    """Tell version, fingerprint, state, channels and zones of a device."""
    with told():
        if device == VIRTUAL:
            with VirtualDevice(VirtualBench()) as virtual, Device.connect(virtual.url) as connected:
                answer = _answer(connected, virtual.engine)
        else:
            with Device.connect(device) as connected:
                answer = _answer(connected, "device")
    if json_answer:
        print_json(answer)
        return
    for name, said in answer.items():
        lines = said if isinstance(said, list) else [said]
        for line in lines:
            out(f"{name:>14}  {line}")


def _answer(device: Device, engine: str) -> dict[str, object]:
    greeting: Greeting = device.greeting
    _settings, description = read_description(device)
    return {
        "port": device.url,
        "firmware": greeting.firmware,
        "fingerprint": greeting.build_id.hex(),
        "runs in": engine,
        "protocol": greeting.protocol,
        "state": state_words(greeting.state),
        "channels": [
            f"{number}: {channel.name}, {channel.converter}, at most"
            f" {channel.ceiling_cdeg / 100:g} °C"
            for number, channel in enumerate(description.channels)
            if channel.name
        ],
        "zones": [
            f"{number}: {zone.watts} W"
            for number, zone in enumerate(description.zones)
            if zone.watts
        ],
        "second switch": "proved at each start"
        if description.has_contactor_sense
        else "commanded, not proved: no sense input",
        "cut-out": "declared fitted" if description.has_cut_out else "not declared",
    }
