"""The parts of the documents that are made from code, so that they cannot grow stale.

A document holds `<!-- made: NAME -->` ... `<!-- end -->`; what stands between is the text of
BLOCKS[NAME]. `python -m tests.docs.generated` writes all of them anew, the tests compare.
"""

import ast
import re
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import typer.main

from emberbed import words
from emberbed.bench import key_table
from emberbed.bench.hands import COOL_AGAIN_S
from emberbed.bench.outcome import OUTCOMES, REFUSED
from emberbed.cli import app
from emberbed_fw import run_states as rs
from emberbed_fw import safety_limits, trip_codes
from emberbed_fw.units import TICKS_PER_MIN, TICKS_PER_S
from emberbed_sim.faults import CATALOGUE
from tests.docs import generated_guides, generated_link, generated_profiles
from tests.docs.generated_guides import leaf_commands
from tests.docs.md_table import table
from tests.safety import hazard_table

PROJECT = Path(__file__).resolve().parents[2]
DOCS = "host/emberbed/docs"
DOCUMENTS = {
    "README.md": ("commands", "keys", "exit codes"),
    "DEVELOPERS.md": ("states", "faults", "map"),
    f"{DOCS}/safety.md": ("trips", "limits", "hazards"),
    f"{DOCS}/profiles.md": ("profile keys", "roles", "sensor keys", "stage keys"),
    f"{DOCS}/data.md": ("csv states", "csv waits", "csv touches", "csv marks"),
    f"{DOCS}/faults.md": ("happenings",),
    f"{DOCS}/index.md": (),
    f"{DOCS}/tutorial.md": (),
    f"{DOCS}/cookbook.md": (),
    f"{DOCS}/hardware.md": ("pins", "chip pins"),
    f"{DOCS}/install.md": (),
    f"{DOCS}/commissioning.md": ("mains checklist",),
    f"{DOCS}/trips.md": ("trip pages", "withheld"),
    f"{DOCS}/commands.md": ("reference",),
    f"{DOCS}/page.md": (),
    f"{DOCS}/report.md": (),
    f"{DOCS}/evidence.md": (),
    f"{DOCS}/control.md": (),
    f"{DOCS}/performance.md": (),
    f"{DOCS}/materials.md": (),
    f"{DOCS}/moisture.md": (),
    f"{DOCS}/calibration.md": (),
    f"{DOCS}/boards.md": (),
    f"{DOCS}/job.md": (),
    f"{DOCS}/link.md": ("frame", "messages", "refusals", "record"),
}
BLOCK = re.compile(r"(<!-- made: (?P<name>[^>]+) -->\n).*?(<!-- end -->)", re.DOTALL)


# README.md


def commands() -> str:
    def rows() -> Iterator[Sequence[object]]:
        for path, command in leaf_commands(typer.main.get_command(app), "emberbed"):
            needed = [
                parameter.name.upper() if parameter.required else f"[{parameter.name.upper()}]"
                for parameter in command.params
                if parameter.param_type_name == "argument"
            ]
            yield f"`{' '.join([path, *needed])}`", command.help

    return table(["command", "what it does"], rows())


def exit_codes() -> str:
    outcomes = sorted([*OUTCOMES.values(), REFUSED], key=lambda outcome: outcome.exit_code)
    rows = ((outcome.exit_code, words.VERDICTS[outcome.state]) for outcome in outcomes)
    return table(["exit code", "how the run ended"], rows)


# what each key of the terminal is for, whatever the run does just now
KEYS = {
    "m": "Mark the next expected event: flux on, nozzle on, solder moves, chip off, chip on, air"
    " away.",
    "h": "Hold here: stand still at the temperature of now. Again, or Enter: go on.",
    "e": "One minute more for this stage, at most"
    f" {safety_limits.MOST_EXTRA_TICKS // TICKS_PER_MIN} in all; a ramp takes the time it takes.",
    "n": "Next stage now.",
    "l": "Back to the temperature of the last hold, and stand still there.",
    "+": "All targets 1 °C up, at most"
    f" {safety_limits.MOST_OFFSET_CDEG / 100:g}, and never above what was shown at the press.",
    "-": f"All targets 1 °C down, at most {safety_limits.MOST_OFFSET_CDEG / 100:g}.",
    "c": f"Cool down now; pressed twice within {COOL_AGAIN_S:g} s. The run counts as finished.",
    "f": "While cooling: the solder is solid, the fan may blow.",
    "s": "Smoke: heat off at once.",
}


def keys() -> str:
    rows = ((f"`{row.key.upper()}`", KEYS[row.key]) for row in key_table.KEYS)
    return table(["key", "what it does"], rows)


def happenings() -> str:
    """The same catalogue as `faults`, for the bench."""
    rows = (
        (f"`{kind.name}`", plain(kind.does), plain(kind.amount_is) or "none") for kind in CATALOGUE
    )
    return table(["name", "what happens", "number after `#`"], rows)


# DEVELOPERS.md


def house_map() -> str:
    """One line for each source file: the first line of what the file says of itself."""
    parts = []
    for top in ("firmware_py/emberbed_fw", "sim/emberbed_sim", "host/emberbed", "hil/emberbed_hil"):
        folders = {path.parent for path in (PROJECT / top).rglob("*.py")}
        for folder in sorted(folders, key=lambda path: path.as_posix()):
            parts.append(_folder_map(folder))
    return "\n".join(parts)


def _folder_map(folder: Path) -> str:
    lines = [f"**{folder.relative_to(PROJECT).as_posix()}/**", ""]
    for path in sorted(folder.glob("*.py")):
        said = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
        if said:
            first = said.split("\n\n")[0].replace("\n", " ")
            lines.append(f"- `{path.name}` {first}")
    return "\n".join(lines) + "\n" if len(lines) > 2 else ""


def states() -> str:
    lines = ["```mermaid", "stateDiagram-v2", "    [*] --> BOOT"]
    for state, row in rs.NEXT_STATE.items():
        events: dict[int, list[str]] = {}
        for event, following in row.items():
            events.setdefault(following, []).append(rs.EVENT_NAMES[event])
        for following, names in events.items():
            arrow = f"{rs.STATE_NAMES[state]} --> {rs.STATE_NAMES[following]}"
            lines.append(f"    {arrow}: {', '.join(names)}")
    return "\n".join([*lines, "```", ""])


def faults() -> str:
    rows = (
        (f"`{kind.name}`", kind.acts_on, kind.does, kind.amount_is or "takes none")
        for kind in CATALOGUE
    )
    return table(["fault", "acts on", "what happens", "amount"], rows)


# safety.md

# The tables of the firmware and of the hazards speak to developers; the bench gets plain words.
PLAIN = {
    "one bad reading withdraws permission, three in a row latch": "one bad reading takes the heat"
    " away while it lasts, three in a row are a trip",
    "2 s without a renewal and nobody is watching": "a PC silent for longer is not watching",
    "current with the drive off: relay stuck on": "current while the relay is told to be off: it is"
    " stuck on",
    "no current with the drive on": "no current while the relay is told to be on",
    "contactor closed, drive off: no current may flow": "contactor closed, relay told to be off: no"
    " current may flow",
    "does not conduct although driven": "does not conduct although it is told to",
    "an integral that winds up behind it, and full power the moment contact returns": "a controller"
    " that asks for more and more meanwhile, and full power the moment contact returns",
    "no current although driven": "no current although heat is asked for",
    "no relay that we drive": "no relay that a program switches",
    "a computer that goes on renewing": "a computer that goes on answering",
    "drives that fall off without pulses": "switch outputs that fall off when the program stops",
    "no setting or plan may": "no setting or profile may",
    "a plan, a setting or the controller asks": "a profile, a setting or the controller asks",
    " degC": " °C",
}
PLAIN_FAULTS = {
    "the SSR conducts whatever its drive says": "the heater's relay stays on whatever it is told",
    "degC of": "°C of",
    "W/m2K": "W/m²K",
}


def plain(text: str) -> str:
    """Return a sentence of the tables in the words of the bench."""
    for ours, theirs in (PLAIN | PLAIN_FAULTS).items():
        text = text.replace(ours, theirs)
    return text


def trips() -> str:
    def rows() -> Iterator[Sequence[object]]:
        for code, name, _reaction in trip_codes.TRIPS:
            said = words.trip_words(code)
            yield code, f"`{name}`", said.happened, said.mend

    return table(["", "trip", "what happened", "what to do"], rows())


def hazards() -> str:
    table_of = hazard_table.load()
    titles = {check["id"]: check["title"] for check in table_of["check"]}
    rows = (
        (
            hazard["id"],
            plain(f"{hazard['cause']}: {hazard['harm']}"),
            plain("; ".join(titles[check] for check in hazard["checks"])),
            plain(hazard["hardware_backup"]),
        )
        for hazard in table_of["hazard"]
    )
    return table(
        ["", "what can happen", "checked by the firmware", "what a program cannot do"], rows
    )


def guard_limits() -> str:
    rows = (
        (f"`{name}`", _in_bench_units(value, unit), plain(why), hazard)
        for name, value, unit, why, hazard in safety_limits.LIMITS
    )
    return table(["limit", "value", "why, or from where", "hazard"], rows)


def _in_bench_units(value: int, unit: str) -> str:
    if unit == "cdeg":
        return f"{value / 100:g} °C"
    if unit == "mK":
        return f"{value / 1000:g} K"
    if unit == "ticks":
        return f"{value / TICKS_PER_S:g} s"
    return f"{value} {unit}"


BLOCKS = {
    "commands": commands,
    "keys": keys,
    "happenings": happenings,
    "exit codes": exit_codes,
    "map": house_map,
    "states": states,
    "faults": faults,
    "trips": trips,
    "limits": guard_limits,
    "hazards": hazards,
    **generated_guides.BLOCKS,
    **generated_link.BLOCKS,
    **generated_profiles.BLOCKS,
}


def blocks_in(text: str) -> list[str]:
    """Return the names of the made blocks of a document, in order."""
    return [found["name"] for found in BLOCK.finditer(text)]


def renewed(text: str) -> str:
    """Return a document with every made block made again."""
    return BLOCK.sub(lambda found: f"{found[1]}\n{BLOCKS[found['name']]()}\n{found[3]}", text)


def main() -> int:
    for name in DOCUMENTS:
        path = PROJECT / name
        path.write_text(renewed(path.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
