"""`emberbed device install`, `settings`, `selftest`: get a controller ready, see that it is."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from emberbed.bench.prepare import NotReady, read_description
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.cli_common import (
    EXIT_REFUSED,
    VIRTUAL,
    Faults,
    Json,
    Port,
    fail,
    out,
    out_note,
    out_sentence,
    port_of,
    print_json,
    told,
)
from emberbed.device_description import DeviceDescription
from emberbed.link.device import Device

DescriptionFile = Annotated[
    Path | None,
    typer.Option("--description", help="Device description file: pins, converters, zones, senses."),
]
FLASH_BLOCK_BYTES = 4096  # of the file systems of all boards
UPDATE = "give the port of a controller board, such as /dev/ttyACM0 or COM3"


def add_commands(app: typer.Typer) -> None:
    """Add the three to `emberbed device`."""
    app.command()(install)
    app.command()(settings)
    app.command()(selftest)


def install(
    port: Annotated[
        str,
        typer.Argument(
            help="The board's serial port, such as /dev/ttyACM0; virtual: only try a description."
        ),
    ],
    description: DescriptionFile = None,
    back: Annotated[
        bool, typer.Option("--back", help="Go back to the version that was installed before.")
    ] = False,
    take_over: Annotated[
        bool, typer.Option("--take-over", help="Put another program's main.py on the board aside.")
    ] = False,
    unplugged: Annotated[
        bool,
        typer.Option(
            "--unplugged",
            help="The heater's mains plug is pulled: go on although a switch is said to be closed.",
        ),
    ] = False,
    json_answer: Json = False,
) -> None:
    """Install this firmware on a controller board, beside what runs there, or go back."""
    from emberbed.firmware_sources import firmware_folder, read_sources
    from emberbed.install.failure import InstallError
    from emberbed.install.installer import Wanted, go_back
    from emberbed.install.installer import install as install_on

    with told():
        if port == VIRTUAL:
            _try_out(description, json_answer)
            return
        port = port_of(port)
        try:
            if back:
                done = go_back(port, out_note, unplugged)
            else:
                sources = read_sources(firmware_folder())
                block, wiring = _described(description)
                wanted = Wanted(sources, block, wiring, take_over, unplugged)
                done = install_on(port, wanted, out_note)
        except InstallError as reason:
            raise NotReady([str(reason)]) from None
    if json_answer:
        print_json(
            {
                "port": port,
                "firmware": done.greeting.firmware,
                "fingerprint": done.greeting.build_id.hex(),
                "as_wanted": done.runs_the_new_one,
            }
        )
    elif done.runs_the_new_one:
        out_sentence(done.sentence(port))
    if not done.runs_the_new_one:
        fail([done.sentence(port)])


def _try_out(description: Path | None, json_answer: bool) -> None:
    """Check a description and compile for its board; nothing is there to install on."""
    from emberbed.firmware_sources import firmware_folder, read_sources
    from emberbed.install.failure import InstallError
    from emberbed.install.installer import Wanted, compile_for

    if description is None:
        raise NotReady(
            [
                "The virtual device always runs the firmware of this emberbed:"
                f" {UPDATE}, or add --description FILE to have that file checked"
            ]
        )
    try:
        kind, version = compile_for(
            Wanted(read_sources(firmware_folder()), *_described(description))
        )
    except InstallError as reason:
        raise NotReady([str(reason)]) from None
    flash_bytes = version.bytes_on(FLASH_BLOCK_BYTES)
    if json_answer:
        print_json(
            {
                "port": VIRTUAL,
                "board": kind,
                "fingerprint": version.build.hex(),
                "files": len(version.files),
                "flash_bytes": flash_bytes,
                "installed": False,
            }
        )
        return
    out_sentence(
        f"{description} is good for an installation on {kind}: {len(version.files)} files,"
        f" {flash_bytes // 1024} KiB of flash. Nothing was installed, as the virtual device always"
        f" runs the firmware of this emberbed: {UPDATE}."
    )


def settings(
    device: Port = VIRTUAL,
    write: Annotated[
        Path | None, typer.Option(help="Write the settings of this device description file.")
    ] = None,
    json_answer: Json = False,
) -> None:
    """Show a device's settings, or write them: sensors, calibration, zones, senses."""
    from emberbed.install.settings_lines import settings_json, settings_lines
    from emberbed.install.write_settings import write_settings

    with told():
        block = None if write is None else _described(write)[0]
        with _connected(device, None) as (connected, _virtual):
            if block is not None:
                write_settings(connected, block)
            description = read_description(connected)[1]
    if json_answer:
        print_json(settings_json(description))
        return
    for line in settings_lines(description):
        out(line)


def selftest(
    device: Port = VIRTUAL,
    bead: Annotated[
        str | None,
        typer.Option(help="Warm this channel's bead by hand: tells whether another one rises."),
    ] = None,
    fault: Faults = None,
    json_answer: Json = False,
) -> None:
    """Test converters, cold junctions, senses and memory of a device at rest; nothing heats."""
    from emberbed.install.self_test import self_test

    with told(), _connected(device, fault) as (connected, virtual):
        _block, description = read_description(connected)
        test = self_test(connected, description)
        doubts = test.doubts()
        if bead is not None and not doubts:
            doubts = _swapped(connected, description, virtual, bead)
    if json_answer:
        channels = [
            {
                "channel": each.number,
                "name": each.name,
                "fault": each.fault,
                "reading_c": each.reading_cdeg / 100 if not each.fault else None,
                "cold_junction_c": each.cold_cdeg / 100,
            }
            for each in test.channels
        ]
        print_json(
            {"fine": not doubts, "doubts": doubts, "notes": test.notes(), "channels": channels,
             "free_bytes": test.free_bytes}
        )  # fmt: skip
    else:
        for each in test.channels:
            out(f"{each.name} (channel {each.number}): {_reading(each)}")
        for note in test.notes():
            out_note(note)
    if doubts:
        fail(doubts, EXIT_REFUSED)
    if not json_answer:
        out("Converters, cold junctions, senses and memory are fine.")


def _reading(each: object) -> str:
    from emberbed.install.self_test import ChannelTest

    assert isinstance(each, ChannelTest)
    if each.fault:
        return "no reading"
    return f"{each.reading_cdeg / 100:.1f} °C, its converter {each.cold_cdeg / 100:.1f} °C"


def _swapped(
    device: Device, description: DeviceDescription, virtual: VirtualDevice | None, bead: str
) -> list[str]:
    """Ask for a warm finger on this channel's bead; return what is wrong with what it warms."""
    from emberbed.bench.touch_test import TEST_S, watch_touch

    names = description.fitted_names()
    wanted = next((number for number, name in names.items() if name == bead), None)
    if wanted is None:
        return [f"There is no channel '{bead}': take one of {', '.join(names.values())}."]
    typer.echo(f"Lay a finger on the bead of {bead} and keep it there.", err=True)
    if virtual is not None:
        virtual.finger(wanted, TEST_S)
    touched = watch_touch(device, list(names), TEST_S)
    if touched.channel is None:
        return [touched.sentence(names)]
    if touched.channel != wanted:
        return [
            f"The finger on {bead} warmed {names[touched.channel]} (channel {touched.channel}): the"
            f" plugs of {bead} and {names[touched.channel]} are swapped, change them over."
        ]
    return []


def _described(path: Path | None) -> tuple[bytes, bytes]:
    """Return settings and wiring of a device description file, b"" where none is given."""
    if path is None:
        return b"", b""
    from emberbed.device_file.reader import DeviceFileMistakes, read_device_file

    try:
        read = read_device_file(path)
    except DeviceFileMistakes as mistakes:
        raise NotReady(mistakes.sentences) from None
    return read.settings, read.wiring


@contextmanager
def _connected(
    device: str, faults: list[str] | None
) -> Iterator[tuple[Device, VirtualDevice | None]]:
    """Connect to the device that is meant, a virtual one of its own for 'virtual'."""
    device = port_of(device)
    if device != VIRTUAL:
        if faults:
            raise NotReady(["--fault only works on the virtual device: leave it out"])
        with Device.connect(device) as connected:
            yield connected, None
        return
    bench = VirtualBench(faults=tuple(faults or ()))
    with VirtualDevice(bench) as virtual, Device.connect(virtual.url) as connected:
        for note in virtual.notes:
            out_note(note)
        yield connected, virtual
