"""`emberbed check` and `emberbed rehearse`: what a profile would do, before any heat."""

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, NoReturn

import typer
from rich.console import Console

from emberbed.bench.prepare import NotReady, judge, load_profile
from emberbed.bench.with_heater import load_heater
from emberbed.cli_common import (
    EXIT_REFUSED,
    FAULT_HELP,
    LUMPED,
    MOST_SEED,
    Json,
    Plant,
    fail,
    list_faults,
    out,
    out_sentence,
    print_json,
    told,
)
from emberbed.cli_files import check_places, write_file
from emberbed.plain_text import printable
from emberbed.profiles.check import Finding, has_errors
from emberbed.profiles.reader import ProfileFile, ProfileMistakes, parse_profile
from emberbed.profiles.shipped import shipped_names
from emberbed.profiles.timing import peak_cdeg, spans
from emberbed_fw.units import TICKS_PER_S

Sensors = Annotated[
    list[str] | None,
    typer.Option(
        "--sensor", help="Simulated: NAME:PLACE of the device's sensors, in order. Repeatable."
    ),
]
MOST_WHAT_IFS = 100_000
ProfileName = Annotated[str, typer.Argument(help="A profile file, or the name of a shipped one.")]


def profiles(json_answer: Json = False) -> None:
    """List the profiles that come with emberbed."""
    listed = [_listed(name) for name in shipped_names()]
    if json_answer:
        print_json(listed)
        return
    for one in listed:
        out(f"{one['name']}: {one['title']}")
        heating = f"{one['heating_min']} min of heating, without the waits"
        out(f"    up to {one['peak_c']:g} °C, {heating}")
        out(f"    {one['file']}")


def _listed(name: str) -> dict[str, str | float]:
    profile_file = load_profile(name)
    profile = profile_file.model
    heating_ticks = sum(span.planned_ticks for span in spans(profile))
    return {
        "name": name,
        "title": profile.name,
        "peak_c": peak_cdeg(profile) / 100,
        "heating_min": round(heating_ticks / TICKS_PER_S / 60),
        "file": profile_file.path,
    }


def check(
    profile: ProfileName,
    sensor: Sensors = None,
    plant: Plant = LUMPED,
    heater: Annotated[
        Path | None, typer.Option(help="The heater's file, as identify writes it: of its zones.")
    ] = None,
    circuit: Annotated[
        int | None, typer.Option(help="The heater's circuit: 10, 13, 15 or 16 A, for hours.")
    ] = None,
    mains: Annotated[
        float | None,
        typer.Option(help="With --circuit: mains volts; else 120 for 15 A, 230."),
    ] = None,
    accept: Annotated[
        int | None,
        typer.Option(help="Accept a warning by its place in the list, 1 for the first.", min=1),
    ] = None,
    reason: Annotated[
        str, typer.Option(help="With --accept: why. Written into the profile, told at each run.")
    ] = "",
    json_answer: Json = False,
) -> None:
    """Judge a profile against board, solder, laminate and the simulated heater; nothing heats."""
    from emberbed.builder.circuits import BadCircuit
    from emberbed.rehearse_bench import judged_on

    try:
        profile_file = load_profile(profile)
    except NotReady as mistakes:
        _tell_mistakes(profile, mistakes.sentences, json_answer)
    with told():
        try:
            description = judged_on(profile_file, sensor or [], plant, circuit, mains)
        except (ValueError, BadCircuit) as error:
            fail([str(error)])
        known = load_heater(heater)
        coupling = None if known is None else known.coupling(description)
        findings = judge(profile_file, description, coupling=coupling)
    if accept is not None:
        _accept(profile, profile_file, findings, accept, reason)
    elif reason:
        fail(["--reason says why a warning is accepted: name the warning with --accept 1"])
    elif json_answer:
        print_json([found.as_json() for found in findings])
    else:
        for found in findings:
            out(f"{found.severity}: {found.sentence}")
        severities = [found.severity for found in findings]
        shown = profile_file.source.shown
        accepted = sum(bool(found.reason) for found in findings)
        out(_verdict(shown, severities.count("error"), severities.count("warning"), accepted))
    if has_errors(findings):
        raise typer.Exit(EXIT_REFUSED)


def _tell_mistakes(profile: str, sentences: list[str], json_answer: bool) -> NoReturn:
    """Tell why a profile cannot even be read."""
    if json_answer:
        print_json([Finding("error", None, None, sentence).as_json() for sentence in sentences])
        raise typer.Exit(EXIT_REFUSED)
    verdict = [_verdict(printable(profile, 200), len(sentences), 0)]
    fail(sentences + (verdict if os.path.isfile(profile) else []))


def _accept(
    name: str, profile_file: ProfileFile, findings: Sequence[Finding], number: int, reason: str
) -> None:
    """Write one acceptance into the profile's own file."""
    from emberbed.profiles.acceptance import CannotAccept, with_acceptance

    warnings = [found for found in findings if found.severity == "warning"]
    if number > len(warnings):
        fail([f"{name}: there is no warning {number} to be accepted; it has {len(warnings)}"])
    path = Path(name)
    if not path.is_file():
        fail([f"{name} comes with emberbed: copy it to a file of your own and accept there"])
    found = warnings[number - 1]
    try:
        own = path.read_bytes().decode("utf-8-sig")
        text = with_acceptance(profile_file.source, own, found.name, reason)
        parse_profile(text.encode(), name, folder=path.parent)
    except CannotAccept as refused:
        fail([str(refused)])
    except ProfileMistakes:
        fail(
            [f"{name}: write what was accepted as [[accepted]] tables, not as one list, then again"]
        )
    write_file(path, text)
    out_sentence(f"accepted: {found.sentence}")
    out_sentence(f"Written into {name}; it counts until anything else in it is changed.")


def _verdict(shown: str, errors: int, warnings: int, accepted: int = 0) -> str:
    counts = _count(errors, "error")
    if warnings or not errors:
        counts += f", {_count(warnings, 'warning')}"
    if accepted:
        counts += f", {accepted} accepted"
    return f"{shown} may {'not run' if errors else 'run'}: {counts}."


def _count(number: int, what: str) -> str:
    return f"{number or 'no'} {what}{'' if number == 1 else 's'}"


def rehearse(
    profile: ProfileName,
    seed: Annotated[
        int, typer.Option(help="Noise of the simulated bench.", min=0, max=MOST_SEED)
    ] = 1,
    fault: Annotated[
        list[str] | None,
        typer.Option(help=f"Simulated: {FAULT_HELP}", callback=list_faults, is_eager=True),
    ] = None,
    plant: Annotated[
        str | None,
        typer.Option(
            help="Board as one piece (lumped, the usual), in two dimensions (grid), or that over a"
            " heater whose middle and rim are zones (two-zones); --heater then plans by its file."
        ),
    ] = None,
    map_file: Annotated[
        Path | None,
        typer.Option("--map", help="Write the board's temperatures as SVG; takes the grid."),
    ] = None,
    heater: Annotated[
        Path | None,
        typer.Option(help="Rehearse on the heater of this file, as identify writes it."),
    ] = None,
    limit: Annotated[
        bool,
        typer.Option("--limit", help="Say how well any controller could do it on this heater."),
    ] = False,
    what_ifs: Annotated[
        int,
        typer.Option(
            "--what-ifs",
            help="Run it on so many more boards, mains, rooms and sensors, and tell the spread.",
            min=0,
            max=MOST_WHAT_IFS,
        ),
    ] = 0,
    sensor: Sensors = None,
    picture: Annotated[Path | None, typer.Option(help="Write the predicted curve as SVG.")] = None,
    json_answer: Json = False,
) -> None:
    """Run a profile on the simulated heater in seconds and show the predicted curve."""
    from emberbed import rehearse_asked as rehearsing

    check_places({"--map": map_file, "--picture": picture})
    wants_map = map_file is not None
    asked = rehearsing.Asked(
        profile, seed, fault or [], plant, wants_map, heater, sensor or [], limit, what_ifs
    )
    with told(), Console(stderr=True).status("Rehearsing"):
        given = rehearsing.answer(asked)
    if picture is not None:
        write_file(picture, rehearsing.picture_of(given))
    if map_file is not None:
        write_file(map_file, rehearsing.map_of(given))
    if json_answer:
        print_json(rehearsing.as_json(given))
    else:
        for line in rehearsing.as_lines(given):
            out_sentence(line)
