"""`emberbed sensor`: calibrate a thermocouple, tell what is known of it and how far off it may be.

Nothing is decided here, and nothing heats.
"""

import getpass
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

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
    Sensors,
    Speed,
    out,
    out_note,
    out_sentence,
    port_of,
    print_json,
    told,
)
from emberbed.cli_run import checked_bench, refuse_on_real_device
from emberbed.cli_sensor_hands import BenchHands, live, parse_wrong
from emberbed.link.device import Device

if TYPE_CHECKING:
    from emberbed.calibration.fixed_points import Reference
    from emberbed.calibration.guided import Calibrated

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
    sensors: Sensors = None,
    speed: Speed = "1",
    seed: Seed = 1,
    engine: Engine = "auto",
    json_answer: Json = False,
) -> None:
    """Set one thermocouple by ice and boiling water (tongs, no mains near), and check it."""
    from emberbed.calibration import fixed_points, guided
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
                        "--sensors": bool(sensors), "--speed": speed != "1", "--seed": seed != 1,
                        "--engine": engine != "auto"}  # fmt: skip
        bench = VirtualBench(speed, seed, tuple(fault or ()), engine, sensors=tuple(sensors or ()))
        name = _by(by)
        with _on(device, bench, only_virtual) as (connected, virtual):
            couple = guided.couple_on(connected, sensor)
            if virtual is not None and wrong is not None:
                virtual.misread(couple.channel, *parse_wrong(wrong))
            if source is not None:
                points = read_points(source, couple, boiling)
                done = guided.set_line(couple, points, name, write=not only_show)
            else:
                hands = BenchHands(virtual, press)
                for caution in (*guided.CAUTIONS, *([guided.SOLDER_CAUTION] if melt else [])):
                    typer.echo(f"caution: {caution}", err=True)
                with live() as show:
                    points = guided.measure(couple, references, hands, show)
                    bath = None if melt else boiling
                    done = guided.set_line(
                        couple, points, name, write=not only_show, bath=bath, show=show
                    )
    _tell(done, references, json_answer)


@app.command("list")
def list_calibrations(device: Port = VIRTUAL, json_answer: Json = False) -> None:
    """Tell which calibrations a device holds, how old they are, and warn of old ones."""
    from emberbed.calibration import on_device
    from emberbed.store.runs import utc_now

    with told(), _on(device, VirtualBench(), {}) as (connected, _virtual):
        block, description = read_description(connected)
        found = on_device.standing(connected, block, description)
    names, rows, now = description.fitted_names(), [], utc_now()
    for number, name in names.items():
        if not description.channels[number].has_couple:
            continue
        entry = found.get(number)
        state = "known" if entry else "unknown" if number in found else "none"
        row: dict[str, object] = {"channel": number, "name": name, "calibration": state}
        if entry is not None:
            old = entry.known().is_old(now)
            row |= {"when_utc": entry.when_utc, "by": entry.by, "old": old,
                    "residual_c": round(entry.known().residual_k, 3)}  # fmt: skip
        rows.append(row)
        if not json_answer:
            said = entry.known().sentence() if entry else f"{name} was never calibrated."
            out_sentence(on_device.unknown_words(name) if state == "unknown" else said)
            if entry is not None and entry.known().is_old(now):
                out_note(entry.known().old_words())
    if json_answer:
        print_json(rows)


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
    from emberbed.calibration import guided, on_device
    from emberbed.calibration.budget import COVERAGE, WIRES, budget_of

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
        print_json(
            {
                "sensor": couple.name,
                "reading_c": at,
                "calibrated": known.day if known else None,
                "standard_k": {term.name: round(term.standard_k, 4) for term in made.terms},
                "combined_k": round(made.standard_k, 4),
                "coverage": COVERAGE,
                "expanded_k": round(made.expanded_k, 4),
            }
        )
        return
    for term in made.terms:
        out(f"{term.standard_k:7.2f} °C  {term.name}")
    out(f"{made.standard_k:7.2f} °C  all together, as squares")
    out_sentence(
        f"{couple.name} at {at:g} °C: ± {made.expanded_k:.1f} °C (expanded uncertainty, k ="
        f" {COVERAGE}, about 95 %; GUM)"
    )
    out_sentence(
        known.sentence() if known else _not_calibrated(couple.name, couple.channel in found)
    )


def _not_calibrated(name: str, is_set: bool) -> str:
    from emberbed.calibration.on_device import unknown_words

    if is_set:
        return unknown_words(name)
    return (
        f"{name} is not calibrated: emberbed sensor calibrate {name} halves the part of the wire."
    )


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


def _tell(done: "Calibrated", references: "list[Reference]", json_answer: bool) -> None:
    entry, line = done.entry, done.entry.line
    if json_answer:
        print_json(
            {
                "sensor": entry.name,
                "channel": entry.channel,
                "when_utc": entry.when_utc,
                "points": [
                    {"point": one.name, "true_c": round(one.true_c, 3), "read_c": round(one.read_c, 3),
                     "standard_k": round(one.standard_k, 4)}
                    for one in entry.points
                ],
                "offset_c": line.offset_k,
                "gain": round(line.gain, 6),
                "residual_c": round(line.residual_k, 4),
                "check_c": None if entry.check_k is None else round(entry.check_k, 4),
                "written": done.written,
            }
        )  # fmt: skip
        return
    told_by_name = {one.name: one.told for one in references}
    for one in entry.points:
        out_sentence(
            f"{told_by_name.get(one.name, one.name)}: {one.true_c:.2f} °C, read"
            f" {one.read_c:.2f} °C before calibration"
        )
    out(f"{entry.name}: reading x {line.gain:.4f} {line.offset_k:+.2f} °C, residual"
        f" {line.residual_k:.2f} °C")  # fmt: skip
    if entry.check_k is not None:
        out(f"read again in the water: {entry.check_k:+.2f} °C off")
    if not done.written:
        out("Nothing was written.")
        return
    out_sentence(
        "The device holds it now. Two points below 100 °C do not prove 150 to 250 °C: emberbed sensor"
        f" budget {entry.name} --at 230 tells what is left."
        if entry.line and max(one.true_c for one in entry.points) < 110
        else "The device holds it now."
    )
