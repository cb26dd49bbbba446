"""`emberbed device`: what a device says of itself, and which of its beads a finger warms."""

from typing import Annotated

import typer

from emberbed import cli_accept, cli_install
from emberbed.bench.prepare import NotReady, read_description
from emberbed.bench.touch_test import ASK, Touched, watch_touch
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.cli_common import (
    EXIT_REFUSED,
    VIRTUAL,
    Json,
    Port,
    fail,
    out,
    out_sentence,
    port_of,
    print_json,
    told,
)
from emberbed.device_description import DeviceDescription
from emberbed.link.device import Device
from emberbed.link.events import Greeting
from emberbed.profiles.plain_hold import parse_duration
from emberbed.trip_titles import last_start_words
from emberbed.words import state_words
from emberbed_fw.messages import ENTRY_INJECTED

LEAST_TOUCH_S, MOST_TOUCH_S = 3, 600

app = typer.Typer(no_args_is_help=True, help="Ask a real or virtual device.")


cli_install.add_commands(app)
cli_accept.add_commands(app)


@app.callback()
def _group() -> None:
    pass


@app.command()
def info(device: Port = VIRTUAL, json_answer: Json = False) -> None:
    """Tell version, fingerprint, state, channels and zones of a device."""
    with told():
        device = port_of(device)
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


@app.command("list")
def list_devices(json_answer: Json = False) -> None:
    """Name every port found, what answers there, and which one --device auto takes."""
    from emberbed.link import discovery, last_port

    found = discovery.find()
    try:
        taken, verdict = discovery.choose(found, last_port.recall())
    except discovery.NotOne as reason:
        taken, verdict = None, str(reason)
    if json_answer:
        ports = [
            {"port": one.port, "is": one.description, "device": one.is_device, "told": one.told}
            for one in found
        ]
        print_json({"ports": ports, "auto": taken, "why": verdict})
        return
    for one in found:
        out(f"{one.port}  {one.told}{f' ({one.description})' if one.description else ''}")
    out_sentence(verdict)


@app.command()
def touch(
    device: Port = VIRTUAL,
    for_time: Annotated[str, typer.Option("--for", help="How long to watch, such as 10s.")] = "10s",
    finger: Annotated[
        int | None,
        typer.Option(help="Virtual device: the channel whose bead a simulated finger warms."),
    ] = None,
    json_answer: Json = False,
) -> None:
    """Tell which channel's bead a finger warms; nothing is armed."""
    with told():
        seconds = _touch_seconds(for_time)
        device = port_of(device)
        if device == VIRTUAL:
            with (
                VirtualDevice(VirtualBench()) as virtual,
                Device.connect(virtual.url) as connected,
            ):
                touched, description = _touched(connected, seconds, virtual, finger)
        else:
            if finger is not None:
                raise NotReady(["--finger only works on the virtual device: touch a bead yourself"])
            with Device.connect(device) as connected:
                touched, description = _touched(connected, seconds, None, None)
    names = description.fitted_names()
    if json_answer:
        rises = {names[channel]: rise / 100 for channel, rise in touched.rises_cdeg.items()}
        channel = None if touched.channel is None else names[touched.channel]
        print_json({"channel": channel, "rises_c": rises, "told": touched.sentence(names)})
    elif touched.channel is not None:
        out_sentence(touched.sentence(names))
    else:
        fail([touched.sentence(names)])
    if touched.channel is None:
        raise typer.Exit(EXIT_REFUSED)


def _touch_seconds(written: str) -> float:
    try:
        seconds = parse_duration(written)
    except ValueError as error:
        raise NotReady([f"--for: {error}"]) from None
    if not LEAST_TOUCH_S <= seconds <= MOST_TOUCH_S:
        allowed = f"{LEAST_TOUCH_S} s to {MOST_TOUCH_S // 60} min"
        raise NotReady([f"--for {written} is outside {allowed}: 10s is enough"])
    return seconds


def _touched(
    device: Device, seconds: float, virtual: VirtualDevice | None, finger: int | None
) -> tuple[Touched, DeviceDescription]:
    _settings, description = read_description(device)
    names = description.fitted_names()
    if virtual is not None and finger is not None:
        if finger not in names:
            raise NotReady([f"--finger {finger} is no channel: the last one is {max(names)}"])
        virtual.finger(finger, seconds)
    typer.echo(ASK, err=True)
    return watch_touch(device, list(names), seconds), description


def _answer(device: Device, engine: str) -> dict[str, object]:
    greeting: Greeting = device.greeting
    _settings, description = read_description(device)
    return {
        "port": device.url,
        "firmware": greeting.firmware,
        "fingerprint": greeting.build_id.hex(),
        "runs in": engine,
        "drives": "no pins: readings are injected, for acceptance"
        if greeting.entry == ENTRY_INJECTED
        else "its outputs",
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
        "remembers": "every tick of the last 5 min, one a second of 15 min"
        f" ({greeting.memory_bytes} bytes), one in 30 s of a day ({greeting.day_bytes} bytes)",
        "last start": last_start_words(greeting) or ["without anything to tell"],
        "cut-out": "declared fitted" if description.has_cut_out else "not declared",
    }
