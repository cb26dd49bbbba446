"""`emberbed sensor`: calibrate a thermocouple, tell what is known of it and how far off it may be.

Nothing is decided here, and nothing heats.
"""

import getpass
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Annotated

import typer

from emberbed.bench.prepare import NotReady, read_description
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.cli_common import (
    VIRTUAL,
    Engine,
    Faults,
    Json,
    Port,
    Seed,
    Speed,
    out_note,
    out_sentence,
    port_of,
    print_json,
    told,
)
from emberbed.cli_sensor_hands import BenchHands, live, parse_wrong
from emberbed.cli_virtual import checked_bench, refuse_on_real_device
from emberbed.link.device import Device

app = typer.Typer(
    no_args_is_help=True, help="Calibrate thermocouples; tell by how much a reading may be off."
)
Sensor = Annotated[str, typer.Argument(help="The sensor's name, or its channel's number.")]
MOST_BY = 60


@app.command()
def calibrate(
    sensor: Sensor,
    device: Port = VIRTUAL,
    pressure: Annotated[
        float | None, typer.Option(help="Air pressure here in hPa, not reduced to sea level.")
    ] = None,
    altitude: Annotated[
        float | None, typer.Option(help="Without --pressure: metres above the sea.")
    ] = None,
    sea_level: Annotated[
        float | None,
        typer.Option("--sea-level", help="With --altitude: today's pressure at sea level in hPa."),
    ] = None,
    melt: Annotated[
        str | None,
        typer.Option(help="Third point: a solder with one melting point, such as Sn63Pb37."),
    ] = None,
    source: Annotated[
        Path | None,
        typer.Option("--from", help="CSV of points measured by hand: point, read_c."),
    ] = None,
    only_show: Annotated[
        bool, typer.Option("--only-show", help="Tell the calibration, do not write it.")
    ] = False,
    by: Annotated[str | None, typer.Option(help="Who calibrates; if not given, you.")] = None,
    press: Annotated[
        bool,
        typer.Option("--press", help="Virtual device: let this command move the bead and go on."),
    ] = False,
    wrong: Annotated[
        str | None,
        typer.Option(help="Virtual device: how its couple misreads, as OFFSET_K,GAIN: 2,1.01."),
    ] = None,
    fault: Faults = None,
    speed: Speed = "1",
    seed: Seed = 1,
    engine: Engine = "auto",
    json_answer: Json = False,
) -> None:
    """Set one thermocouple by ice and boiling water (tongs, no mains near), and check it."""
    from emberbed.calibration import fixed_points, guided, shown
    from emberbed.calibration.points_file import read_points

    with told():
        boiling = None
        if source is None or any(one is not None for one in (pressure, altitude, sea_level)):
            boiling = fixed_points.boiling(pressure, altitude, sea_level)
        references = [fixed_points.ice()] + ([boiling] if boiling else [])
        if melt is not None:
            if source is not None:
                raise NotReady(["--melt is measured here: write the solder into the file instead"])
            references.append(fixed_points.melting(melt))
        only_virtual = {"--press": press, "--wrong": wrong is not None, "--fault": bool(fault),
                        "--speed": speed != "1", "--seed": seed != 1,
                        "--engine": engine != "auto"}  # fmt: skip
        bench = VirtualBench(speed, seed, tuple(fault or ()), engine)
        name = _by(by)
        with _on(device, bench, only_virtual) as (connected, virtual):
            guided.check_at_rest(connected)
            couple = guided.couple_on(connected, sensor)
            if virtual is not None and wrong is not None:
                virtual.misread(couple.channel, *parse_wrong(wrong))
            if source is not None:
                points = read_points(source, couple, boiling)
                bath = None
            else:
                hands = BenchHands(virtual, press)
                for caution in (*guided.CAUTIONS, *([guided.SOLDER_CAUTION] if melt else [])):
                    typer.echo(f"caution: {caution}", err=True)
                with live() as show:
                    points = guided.measure(couple, references, hands, show)
                bath = None if melt else boiling
            with live() as show:
                done = guided.set_line(
                    couple, points, name, write=not only_show, keeps=virtual is None, bath=bath,
                    show=show,
                )  # fmt: skip
    if json_answer:
        print_json(shown.calibrated_json(done))
        return
    for line in shown.calibrated_lines(done, references):
        out_sentence(line)


@app.command("list")
def list_calibrations(device: Port = VIRTUAL, json_answer: Json = False) -> None:
    """Tell which calibrations a device holds, how old they are, and warn of old ones."""
    from emberbed.calibration import on_device, shown
    from emberbed.store.runs import utc_now

    with told(), _on(device, VirtualBench(), {}) as (connected, _virtual):
        block, description = read_description(connected)
        found = on_device.standing(connected, block, description)
    if json_answer:
        print_json(shown.standing_json(description, found, utc_now()))
        return
    for line in shown.standing_lines(description, found):
        out_sentence(line)
    for entry in found.values():
        if entry is not None and entry.known().is_old(utc_now()):
            out_note(entry.known().old_words())


@app.command()
def budget(
    sensor: Sensor,
    at: Annotated[float, typer.Option("--at", help="The reading, in °C.")],
    device: Port = VIRTUAL,
    wire_class: Annotated[
        int, typer.Option("--class", help="Tolerance class of the wire, IEC 60584-1: 1 or 2.")
    ] = 2,
    contact: Annotated[
        float,
        typer.Option(
            help="How much a bead is colder than the board, in % of what that is above the room:"
            " taped 1.5, soldered 0.3."
        ),
    ] = 1.5,
    json_answer: Json = False,
) -> None:
    """Tell by how much a reading may be off, source by source (GUM, k = 2)."""
    from emberbed.calibration import guided, on_device, shown
    from emberbed.calibration.budget import WIRES, budget_of

    with told():
        _check_budget(at, wire_class, contact, set(WIRES))
        with _on(device, VirtualBench(), {}) as (connected, _virtual):
            couple = guided.couple_on(connected, sensor)
            found = on_device.standing(connected, connected.read_settings(), couple.description)
        entry = found.get(couple.channel)
        known = entry.known() if entry else None
        made = budget_of(at, couple.converter, known, wire_class, contact / 100)
        assert made is not None, "couple_on lets only known converters through"
    if json_answer:
        print_json(shown.budget_json(couple.name, made, known))
        return
    for line in shown.budget_lines(couple.name, made):
        out_sentence(line)
    out_sentence(shown.known_words(couple.name, couple.channel in found, known))


def _check_budget(at_c: float, wire_class: int, contact: float, classes: set[int]) -> None:
    if not -200 <= at_c <= 1000:  # not a number too
        raise NotReady([f"--at {at_c:g} is no reading of a bench: write -200 to 1000 °C"])
    if wire_class not in classes:
        raise NotReady([f"--class {wire_class} is not known: write 1 or 2"])
    if not 0 <= contact <= 100:
        raise NotReady([f"--contact {contact:g} is no share: write 0 to 100 %"])


def _by(by: str | None) -> str:
    from emberbed.plain_text import printable

    if by is not None:
        return printable(by, MOST_BY)
    with suppress(Exception):  # a computer without user names
        return printable(getpass.getuser(), MOST_BY)
    return ""


@contextmanager
def _on(
    device: str, bench: VirtualBench, only_virtual: dict[str, bool]
) -> Iterator[tuple[Device, VirtualDevice | None]]:
    """Connect to the device that is meant, a virtual one of its own for 'virtual'."""
    device = port_of(device)
    if device != VIRTUAL:
        refuse_on_real_device(device, [name for name, given in only_virtual.items() if given])
        with Device.connect(device) as connected:
            yield connected, None
        return
    with (
        VirtualDevice(checked_bench(bench)) as virtual,
        Device.connect(virtual.url) as connected,
    ):
        for note in virtual.notes:
            out_note(note)
        yield connected, virtual
