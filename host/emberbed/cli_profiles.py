"""`emberbed check` and `emberbed rehearse`: what a profile would do, before any heat."""

from pathlib import Path
from typing import Annotated

import typer

from emberbed.bench.prepare import NotReady, judge, load_profile
from emberbed.cli_common import EXIT_REFUSED, MOST_SEED, Json, fail, out, print_json, told
from emberbed.device_description import decode_settings
from emberbed.profiles.check import Finding, has_errors
from emberbed.profiles.shipped import shipped_names

ProfileName = Annotated[str, typer.Argument(help="A profile file, or the name of a shipped one.")]


def add_commands(app: typer.Typer) -> None:
    """Put the commands on the root."""
    app.command()(check)
    app.command()(rehearse)
    app.command()(profiles)


def profiles(json_answer: Json = False) -> None:
    """List the profiles that come with emberbed."""
    if json_answer:
        print_json(shipped_names())
    else:
        for name in shipped_names():
            out(name)


def check(profile: ProfileName, json_answer: Json = False) -> None:
    """Judge a profile against board, solder, laminate and the simulated heater; nothing heats."""
    from emberbed.rehearse import bench_of, bench_settings

    with told():
        profile_file = load_profile(profile)
        findings = judge(profile_file, decode_settings(bench_settings(bench_of(profile_file))))
    if json_answer:
        print_json([_as_json(found) for found in findings])
    else:
        for found in findings:
            out(f"{found.severity}: {found.sentence}")
    if has_errors(findings):
        raise typer.Exit(EXIT_REFUSED)


def rehearse(
    profile: ProfileName,
    seed: Annotated[
        int, typer.Option(help="Noise of the simulated bench.", min=0, max=MOST_SEED)
    ] = 1,
    fault: Annotated[
        list[str] | None, typer.Option(help="Break something, such as tc_open@120s. Repeatable.")
    ] = None,
    picture: Annotated[Path | None, typer.Option(help="Write the predicted curve as SVG.")] = None,
    json_answer: Json = False,
) -> None:
    """Run a profile on the simulated heater in seconds and show the predicted curve."""
    from emberbed import rehearse as rehearsing

    with told():
        try:
            rehearsal = rehearsing.rehearse_by_name(profile, seed, fault or [])
        except ValueError as error:
            raise NotReady([str(error)]) from None
    if picture is not None:
        try:
            picture.write_text(rehearsing.picture_of(rehearsal), encoding="utf-8", newline="\n")
        except OSError as error:
            fail([f"{picture} cannot be written ({error.strerror}): name another file"])
    if json_answer:
        print_json(rehearsing.as_json(rehearsal))
    else:
        for line in rehearsing.as_lines(rehearsal):
            out(line)


def _as_json(found: Finding) -> dict[str, str | int | None]:
    return {
        "severity": found.severity,
        "line": found.line,
        "stage": found.stage,
        "sentence": found.sentence,
    }
