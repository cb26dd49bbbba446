"""`emberbed moisture`: floor life of opened parts, bake times, how dry a run makes a package."""

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from emberbed.cli_common import VIRTUAL, Json, fail, out_sentence, port_of, print_json, told

if TYPE_CHECKING:
    from emberbed.device_description import DeviceDescription

app = typer.Typer(
    no_args_is_help=True,
    help="Keep account of floor life, tell bake times, estimate how dry a run makes a package.",
)
VARIABLE = "EMBERBED_MOISTURE"
Level = Annotated[str, typer.Option(help="Moisture level on the bag: 1, 2, 2a, 3, 4, 5, 5a or 6.")]
Thickness = Annotated[float, typer.Option(help="Thickness of the body in mm, without balls.")]
Log = Annotated[
    Path | None,
    typer.Option(help=f"The log; if not given, ${VARIABLE} or a file in your data folder."),
]
Oven = Annotated[float, typer.Option(help="Temperature of the bake, °C.")]


@app.command()
def parts(log: Log = None, json_answer: Json = False) -> None:
    """List opened parts with what is left of their floor life."""
    from emberbed.moisture.exposure import LogFault, read_log, standings

    path = _log(log)
    try:
        found = standings(read_log(path), datetime.now(UTC))
    except LogFault as fault:
        fail([str(fault)])
    if json_answer:
        print_json(
            [
                {"part": one.part, "level": one.level, "thickness_mm": one.thickness_mm,
                 "out": one.out_now, "used_h": round(one.used_h, 3), "left_h": one.left_h,
                 "saturated": one.saturated, "source": one.life.source,
                 "status": one.life.status, "notes": list(one.notes)}
                for one in found
            ]
        )  # fmt: skip
        return
    for one in found:
        out_sentence(f"{one.sentence()} ({one.life.source}; {one.life.status}).")
        for note in one.notes:
            out_sentence(f"    note: {note}")
    if not found:
        out_sentence(
            f"No part is in {path}: begin with emberbed moisture note PART opened --level 3"
        )


@app.command()
def note(
    part: Annotated[str, typer.Argument(help="What you call the part, such as U5-spare.")],
    event: Annotated[
        str,
        typer.Argument(help="opened, dry (into dry storage), out (of it), or baked."),
    ],
    level: Annotated[
        str | None, typer.Option(help="With opened: moisture level on the bag.")
    ] = None,
    thickness: Annotated[
        float | None, typer.Option(help="With opened: thickness of the body in mm.")
    ] = None,
    oven: Annotated[float | None, typer.Option(help="With baked: °C.")] = None,
    hours: Annotated[float | None, typer.Option(help="With baked: hours.")] = None,
    at: Annotated[
        str | None, typer.Option(help="When, local time such as 2026-11-28T14:30; else now.")
    ] = None,
    log: Log = None,
) -> None:
    """Write down that a part's bag was opened, that it was stored dry, taken out, or baked."""
    from emberbed.moisture import exposure
    from emberbed.moisture.tables import NoSuchRow

    path = _log(log)
    try:
        made = exposure.event_of(
            exposure.read_log(path), part, event, level, thickness, oven, hours, _when(at)
        )
        exposure.add_event(path, made)
        known = [one for one in exposure.read_log(path) if one.part == made.part]
    except (exposure.LogFault, NoSuchRow) as fault:
        fail([str(fault)])
    standing = exposure.standing_of(known, max(datetime.now(UTC), made.when))
    out_sentence(f"{standing.sentence()}.")
    for said in standing.notes:
        out_sentence(f"note: {said}")


@app.command()
def bake(
    level: Level,
    thickness: Thickness,
    oven: Oven = 125.0,
    aired: Annotated[
        bool,
        typer.Option("--aired", help="It was kept at up to 30 °C and 60 % RH, no damper."),
    ] = False,
    large: Annotated[
        bool, typer.Option("--large", help="Ball array beyond 17 x 17 mm, or stacked dies.")
    ] = False,
    to: Annotated[
        Path | None, typer.Option("--out", help="Write it as a profile for the heater.")
    ] = None,
    sensor: Annotated[
        list[str] | None,
        typer.Option(help="With --out: the device's sensors, the controlling one first."),
    ] = None,
    device: Annotated[
        str | None, typer.Option(help="With --out: the device to ask what attendance needs.")
    ] = None,
    json_answer: Json = False,
) -> None:
    """Tell how long the table wants a part baked, and write it as a long, low profile."""
    from emberbed.moisture.bake import bake_time
    from emberbed.moisture.tables import NoSuchRow, level_of

    try:
        told_level = level_of(level)
        found = bake_time(told_level, thickness, oven, not aired, large)
    except NoSuchRow as why:
        fail([str(why)])
    if json_answer:
        print_json({"oven_c": oven, "hours": found.hours, "sure_hours": found.sure_hours,
                    "between_c": found.between_c, "source": found.row.source,
                    "status": found.row.status})  # fmt: skip
    else:
        for line in found.sentences():
            out_sentence(line)
    if to is not None:
        _write_profile(to, oven, found.sure_hours, sensor, device)


@app.command()
def drying(
    profile: Annotated[str, typer.Argument(help="A profile file, or a shipped one.")],
    thickness: Thickness,
    loose: Annotated[
        bool, typer.Option("--loose", help="The part lies loose and dries from both faces.")
    ] = False,
    json_answer: Json = False,
) -> None:
    """Estimate how much of a package's moisture a profile leaves in it."""
    from emberbed.bench.prepare import load_profile
    from emberbed.moisture.diffusion import CAUTION, dryness
    from emberbed.moisture.profile_heat import heating_of
    from emberbed.moisture.tables import THICKEST_MM

    if not 0 < thickness <= THICKEST_MM:
        fail([f"--thickness {thickness:g} is no body in mm: write one up to {THICKEST_MM:g}"])
    with told():
        heating = heating_of(load_profile(profile).model)
    found = dryness(heating, thickness, 2 if loose else 1)
    if json_answer:
        print_json({"stays": found.stays, "stays_least": found.stays_least,
                    "stays_most": found.stays_most, "caution": CAUTION})  # fmt: skip
        return
    minutes = sum(seconds for _celsius, seconds in heating) / 60
    out_sentence(found.sentence(f"the {minutes:.0f} min of this profile, waits not counted,"))
    out_sentence(CAUTION)


def _write_profile(
    to: Path, oven_c: float, hours: float, sensors: list[str] | None, device: str | None
) -> None:
    from emberbed.cli_files import check_places, write_file
    from emberbed.moisture.bake_profile import USUAL_SENSORS, attendance, bake_profile
    from emberbed.profiles.reader import ProfileMistakes, parse_profile

    check_places({"--out": to})
    description = None if device is None else _described(device)
    fitted: list[str] = [*USUAL_SENSORS]
    if description is not None:
        fitted = list(description.fitted_names().values())
    try:
        made = bake_profile(oven_c, hours, sensors or fitted)
        parse_profile(made.text.encode(), str(to))
    except ValueError as why:
        fail([str(why)])
    except ProfileMistakes as mistakes:
        fail(mistakes.sentences)
    write_file(to, made.text)
    runs = f"{made.runs} runs of " if made.runs > 1 else ""
    out_sentence(f"Written to {to}: {runs}{made.run_hours:.3g} h at {oven_c:g} °C.")
    for line in attendance(oven_c, description):
        out_sentence(line)


def _described(device: str) -> "DeviceDescription":
    from contextlib import ExitStack

    from emberbed.bench.prepare import read_description
    from emberbed.bench.virtual import VirtualBench, VirtualDevice
    from emberbed.link.device import Device

    with told(), ExitStack() as open_ones:
        virtual = device == VIRTUAL
        url = (
            open_ones.enter_context(VirtualDevice(VirtualBench())).url
            if virtual
            else port_of(device)
        )
        return read_description(open_ones.enter_context(Device.connect(url)))[1]


def _log(named: Path | None) -> Path:
    import os

    import platformdirs

    if named is not None:
        return named
    told_of = os.environ.get(VARIABLE)
    return Path(told_of) if told_of else platformdirs.user_data_path("emberbed") / "moisture.csv"


def _when(written: str | None) -> datetime:
    if written is None:
        return datetime.now(UTC)
    try:
        return datetime.fromisoformat(written).astimezone(UTC)
    except ValueError:
        fail([f'--at "{written}" is no time; write it such as 2026-11-28T14:30'])
