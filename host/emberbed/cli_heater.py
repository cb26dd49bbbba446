"""`emberbed identify` and `emberbed tune`: a heater's own numbers, and gains that suit them."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from emberbed.cli_common import (
    LUMPED,
    MOST_SEED,
    Engine,
    Json,
    Plant,
    Seed,
    Speed,
    StoreFile,
    fail,
    out,
    out_sentence,
    print_json,
)
from emberbed.cli_files import check_places, write_file
from emberbed.cli_run import tell_result
from emberbed.cli_step_test import OnDevice, Tested, check_source, step_test, tested, zones_of
from emberbed.heater.step_test import USUAL_PERCENT
from emberbed.materials.book import UNKNOWN
from emberbed.plain_text import printable
from emberbed.profiles.limits import STORED_HEAT

if TYPE_CHECKING:  # numpy and scipy only where they are needed
    from emberbed.heater.heater_file import ZoneTable
    from emberbed.heater.identify import Fitted
    from emberbed.heater.step_data import Measured

Picture = Annotated[Path | None, typer.Option("--picture", help="Write a picture as SVG.")]


def identify(
    source: Annotated[
        Path | None,
        typer.Option("--from", help="CSV: time_s, power_w or drive, temperature_c."),
    ] = None,
    device: Annotated[
        str | None,
        typer.Option(help="Step test on a device: virtual, a serial port, or a URL."),
    ] = None,
    limit: Annotated[
        float | None,
        typer.Option(
            help="With --device: °C at which heat goes off; what is stored carries the board"
            f" up to {STORED_HEAT.value:g} °C further."
        ),
    ] = None,
    percent: Annotated[
        float, typer.Option(help="With --device: part of full power.")
    ] = USUAL_PERCENT,
    alloy: Annotated[str, typer.Option(help="With --device: the board's solder.")] = UNKNOWN,
    laminate: Annotated[str, typer.Option(help="With --device: its laminate.")] = UNKNOWN,
    press: Annotated[
        bool, typer.Option("--press", help="Virtual device: let this command press its button.")
    ] = False,
    speed: Speed = "1",
    seed: Seed = 1,
    engine: Engine = "auto",
    plant: Plant = LUMPED,
    store: StoreFile = None,
    fit_until: Annotated[
        float | None,
        typer.Option(help="With --from: fit the rows before this time (s), score the rest."),
    ] = None,
    watts: Annotated[float | None, typer.Option(help="Power of the heater at full drive.")] = None,
    full_drive: Annotated[
        float | None,
        typer.Option(help="With --from: drive at full power; if not given, the highest."),
    ] = None,
    room: Annotated[
        float | None, typer.Option(help="Room temperature, °C; if not given, it is fitted.")
    ] = None,
    sensor: Annotated[
        str | None,
        typer.Option(help="With --from: column of the temperature, where there are several."),
    ] = None,
    to: Annotated[Path | None, typer.Option("--out", help="Write the heater file.")] = None,
    picture: Picture = None,
    json_answer: Json = False,
) -> None:
    """Find the numbers of a heater by a step test, or in a file; writes a heater file."""
    from emberbed.heater.csv_reader import TableMistake

    check_source(
        source,
        device,
        {
            "--limit": limit is not None,
            "--percent": percent != USUAL_PERCENT,
            "--alloy": alloy != UNKNOWN,
            "--laminate": laminate != UNKNOWN,
            "--press": press,
            "--speed": speed != "1",
            "--seed": seed != 1,
            "--engine": engine != "auto",
            "--plant": plant != LUMPED,
            "--store": store is not None,
        },
        {
            "--fit-until": fit_until is not None,
            "--full-drive": full_drive is not None,
            "--sensor": sensor is not None,
        },
    )
    _check_numbers({"--fit-until": fit_until, "--watts": watts, "--full-drive": full_drive})
    if room is not None and not 0 <= room <= 45:
        fail([f"--room {room:g} is no room temperature: give one from 0 to 45 °C"])
    check_places({"--out": to, "--picture": picture})
    about: dict[str, object] = {}
    zones = None
    try:
        if source is not None:
            fitted, full_power_w = _identified(source, sensor, fit_until, watts, full_drive, room)
        else:
            assert device is not None
            test = step_test(limit, percent, alloy, laminate)
            where = OnDevice(device, press, speed, seed, engine, store, plant)
            done = tested(test, where, json_answer)
            fitted, full_power_w, about = _identified_on_device(done, watts, room, json_answer)
            zones = zones_of(done)
    except TableMistake as mistake:
        fail([str(mistake)])
    _tell_fit(fitted, full_power_w, to, picture, about, json_answer, zones)


def _tell_fit(
    fitted: "Fitted",
    full_power_w: float | None,
    to: Path | None,
    picture: Path | None,
    about: dict[str, object],
    json_answer: bool,
    zones: "ZoneTable | None",
) -> None:
    """Write what is asked for, then say it; `about` is what a script wants to know besides."""
    from emberbed.heater import zone_report
    from emberbed.heater.fit_report import as_json, as_lines

    if to is not None:
        write_file(to, _heater_text(fitted, full_power_w, zones))
    if picture is not None:
        from emberbed.heater.fit_picture import fit_svg  # matplotlib: only when it is needed

        write_file(picture, fit_svg(fitted))
    if json_answer:
        told = {**as_json(fitted, full_power_w), "heater_file": None if to is None else str(to)}
        print_json({**told, **about, **zone_report.as_json(zones)})
        return
    for line in [*as_lines(fitted, full_power_w), *zone_report.as_lines(zones)]:
        out_sentence(line) if line.endswith(".") else out(line)
    if to is not None:
        out(f"Heater file: {to}")


def _identified_on_device(
    done: Tested, watts: float | None, room: float | None, json_answer: bool
) -> tuple["Fitted", float | None, dict[str, object]]:
    """Fit a step test up to its second heating; the last are facts of the run."""
    if not json_answer:
        tell_result(done.result, False)
    fitted = _fitted(done.measured, done.second_heating_s, 1.0, room)
    about: dict[str, object] = {
        "run": done.result.run_id,
        "limits_exceeded": done.result.limits_exceeded,
        "page": None if done.result.page_failed else str(done.result.page),
        "second_heating_s": done.second_heating_s,
    }
    return fitted, watts or done.watts, about


def _identified(
    source: Path,
    sensor: str | None,
    fit_until: float | None,
    watts: float | None,
    full_drive: float | None,
    room: float | None,
) -> tuple["Fitted", float | None]:
    """Read, check and fit; also return the full power in watts where it is known."""
    from emberbed.heater import csv_checks
    from emberbed.heater.csv_reader import read_measured
    from emberbed.heater.step_data import WATTS

    measured = read_measured(source, sensor)
    csv_checks.check_measured(measured, fit_until)  # before its drive is believed
    full = csv_checks.full_drive(measured.until(fit_until), watts, full_drive)
    fitted = _fitted(measured, fit_until, full, room)
    return fitted, full if watts is None and measured.kind == WATTS else watts


def _fitted(
    measured: "Measured", fit_until: float | None, full: float, room: float | None
) -> "Fitted":
    from emberbed.heater.csv_checks import check_measured
    from emberbed.heater.identify import identify as fit

    check_measured(measured, fit_until)
    with _progress() as tell:
        return fit(measured, fit_until, full, room, tell)


def _heater_text(
    fitted: "Fitted", full_power_w: float | None, zones: "ZoneTable | None" = None
) -> str:
    from emberbed.heater.heater_writer import heater_text

    return heater_text(fitted, full_power_w, datetime.now(UTC), zones)


@contextmanager
def _progress() -> Iterator[Callable[[str, float], None]]:
    """Show how far a long work is, on a terminal; say nothing into a pipe."""
    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda _what, _part: None
        return
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True) as progress:
        task = progress.add_task("reading", total=1.0)
        yield lambda what, part: progress.update(task, description=what, completed=part)


def _check_numbers(given: dict[str, float | None]) -> None:
    for option, number in given.items():
        if number is not None and not 0 < number < float("inf"):
            fail([f"{option} {number:g} is out of range: give a number above 0"])


def tune(
    heater: Annotated[Path, typer.Argument(help="A heater file, as identify writes it.")],
    to: Annotated[
        Path | None,
        typer.Option("--out", help="Write the heater file with its gains here, not in its place."),
    ] = None,
    more: Annotated[
        bool, typer.Option("--more", help="Compare with more published rules.")
    ] = False,
    refine: Annotated[bool, typer.Option(help="Search on, by simulation of the firmware.")] = True,
    quick: Annotated[bool, typer.Option("--quick", help="Refine with less effort.")] = False,
    plants: Annotated[int | None, typer.Option(help="Drawn heaters.", min=1, max=200)] = None,
    seed: Annotated[int, typer.Option(help="Which ones.", min=0, max=MOST_SEED)] = 1,
    picture: Picture = None,
    json_answer: Json = False,
) -> None:
    """Find gains for a heater by the published rules, refine them, put them into its file."""
    from emberbed.heater.heater_file import HeaterMistakes, parse_heater, read_text
    from emberbed.heater.heater_writer import with_gains
    from emberbed.heater.tune import CannotTune
    from emberbed.heater.tune_asked import effort_of, tuned
    from emberbed.heater.tune_report import as_json, as_lines, chart

    check_places({"--out": to, "--picture": picture})
    if not refine and (quick or plants is not None or seed != 1):
        fail(["--quick, --plants and --seed are for refining: leave --no-refine out, or them"])
    shown = printable(heater, 200)
    try:
        text = read_text(heater)
        read = parse_heater(text, shown)
        with _progress() as tell:
            tuning, unrefined = tuned(read, more, effort_of(refine, quick, plants, seed), tell)
        best = tuning.best
    except HeaterMistakes as mistakes:
        fail(mistakes.sentences)
    except CannotTune as refused:
        fail([f"{shown}: {refused}"])
    if unrefined is not None:
        typer.echo(unrefined, err=True)
    write_file(to or heater, with_gains(text, best.gains, best.rule))
    if picture is not None:
        from emberbed.report.chart import run_chart_svg  # matplotlib: only when it is needed

        write_file(picture, run_chart_svg(chart(tuning)))
    if json_answer:
        print_json({**as_json(read, tuning), "heater_file": str(to or heater)})
        return
    for line in as_lines(read, tuning):
        out(line)
    out(f"Gains are written into {to or heater}")
