"""The evidence of a campaign as one HTML page that needs nothing else, and as a short text.

Takes what `Campaign.evidence` gives. The table of hazards is the shipped safety page's own, made
from the table that the tests are held against.
"""

from importlib.resources import files
from itertools import groupby
from typing import Any

from emberbed.report.markup import Markup, facts, joined, sentences, table, tag
from emberbed.report.page_style import STYLE
from emberbed_sim.campaign.evidence import lower_share

POLICY = "default-src 'none'; style-src 'unsafe-inline'"
NOTHING = "–"
WIDE = "main { max-width: 92rem } table { font-size: .84rem }\n"  # eight columns of figures
Row = dict[str, Any]


def page(evidence: dict[str, Any], command: str) -> str:
    """Return the page as text; `command` is what made it."""
    title = "Evidence: faults, healthy days and seeded bugs"
    body = tag(
        "main",
        tag("h1", title),
        tag("p", verdict(evidence), class_="lead"),
        facts([*_facts(evidence), ("made by", tag("code", command))]),
        *_misses(evidence),
        tag("h2", "Every fault, by phase"),
        tag("p", _how_to_read()),
        *_faults(evidence["rows"]),
        tag("h2", "Not detectable"),
        _not_detectable(evidence["rows"]),
        tag("h2", "Seeded bugs: firmware broken on purpose"),
        table(["bug", "found by"], [[*one] for one in evidence["seeded_bugs"]["by"].items()], 2),
        tag("h2", "Hazards, what checks them, and what a program cannot do"),
        _hazards(),
    )
    head = joined(
        Markup('<meta charset="utf-8">'),
        Markup(f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'),
        Markup('<meta name="viewport" content="width=device-width, initial-scale=1">'),
        tag("title", title),
        tag("style", Markup(STYLE + WIDE)),
    )
    return f"<!doctype html>\n{tag('html', tag('head', head), tag('body', body), lang='en')}\n"


def summary(evidence: dict[str, Any], command: str) -> str:
    """Return the short text that is kept with the documents."""
    lines = ["# Evidence", "", verdict(evidence), "", f"Made by `{command}`.", ""]
    lines += ["| what | figure |", "| --- | --- |"]
    lines += [f"| {name} | {said} |" for name, said in _facts(evidence)]
    lines += ["", "| fault | runs | missed | found, at least (95 %) | longest s until found |"]
    lines += ["| --- | --- | --- | --- | --- |"]
    for name, rows in _by_fault(evidence["rows"]):
        lines.append(f"| {' | '.join(_fault_line(name, rows))} |")
    weak = [row for row in evidence["rows"] if "reason" in row]
    lines += ["", "Not detectable, and what answers for it:", ""]
    told = dict.fromkeys(f"- {row['row']}: {row['reason']}. {row['hardware']}." for row in weak)
    return "\n".join([*lines, *told, ""])


def verdict(evidence: dict[str, Any]) -> str:
    """Return the first sentence."""
    bugs = evidence["seeded_bugs"]
    return (
        f"{evidence['missed']} of {sum(row['runs'] for row in evidence['rows'])} faults and"
        f" {evidence['pairs']['runs']} pairs missed, {evidence['false_trips']} false trips in"
        f" {evidence['healthy']['runs']} healthy runs, {bugs['caught']} of {bugs['of']} seeded"
        " bugs found."
    )


def _facts(evidence: dict[str, Any]) -> list[tuple[str, object]]:
    healthy, played = evidence["healthy"], evidence["interpreter"]
    upper = healthy["false_trips_upper_95"]
    in_words = ", ".join(f"{count} {kind}" for kind, count in evidence["cells"].items())
    engines, both = evidence["engines"]["runs"], evidence["engines"]
    compared = (
        f"{both['compared'] - len(both['differs'])} of {both['compared']} cells equal in"
        f" {both['ticks']} ticks"
    )
    return [
        ("cells", f"{sum(evidence['cells'].values())}: {in_words.replace('_', ' ')}"),
        ("seeds", "{} to {}".format(*evidence["seeds"])),
        ("false trips a run, at most (95 %)", NOTHING if upper is None else f"{upper:.2%}"),
        ("false questions", healthy["false_questions"]),
        ("simulated hours", evidence["simulated_hours"]),
        ("played again in MicroPython", f"{played['equal']} of {played['ticks']} ticks equal"),
        ("runs, by engine", ", ".join(f"{runs} in {name}" for name, runs in engines.items())),
        ("compared with CPython, bit by bit", compared),
        ("emberbed", evidence["versions"]["emberbed"]),
        ("firmware", evidence["versions"]["firmware"]),
        ("Python", evidence["versions"]["python"]),
    ]


def _how_to_read() -> str:
    return (
        "Setup: sensors (one; edge: two; pair: three) / senses of current and contactor / what is"
        " known of the heater. Times in seconds from the moment the fault could do harm. Peaks in"
        " kelvin are true ones of the simulated board. Bounds are one-sided at 95 %; 0 missed of"
        " n leaves at most about 3/n."
    )


def _misses(evidence: dict[str, Any]) -> list[Markup]:
    if not evidence["misses"]:
        return []
    told = [
        f"{one['part']} {one['row']} {one['phase']} {one['setup']}: {one['why']}. {one['replay']}"
        for one in evidence["misses"]
    ]
    return [tag("h2", "Missed"), sentences(told)]


def _by_fault(rows: list[Row]) -> list[tuple[str, list[Row]]]:
    ordered = sorted(rows, key=_name)
    return [(name, list(own)) for name, own in groupby(ordered, key=_name)]


def _name(row: Row) -> str:
    return row["row"]


def _faults(rows: list[Row]) -> list[Markup]:
    heads = ["phase, setup", "expected", "missed", "found", "s until found", "heat off s",
             "over target K", "over limit K"]  # fmt: skip
    found = []
    for name, own in _by_fault(rows):
        found.append(tag("h3", name))
        found.append(table(heads, [_cells_of(row) for row in own], 2))
    return found


def _cells_of(row: Row) -> list[object]:
    expected = row["expected"] + (f" ({row['why']})" if "why" in row else "")
    return [
        f"{row['phase']}, {row['setup']}",
        expected,
        f"{row['missed']} of {row['runs']}",
        _share(row),
        _spread(row["found_s"]),
        _spread(row["heat_off_s"]),
        _kelvin(row["peak_over_target_k"]),
        _kelvin(row["peak_over_limit_k"]),
    ]


def _share(row: Row) -> str:
    if "found" not in row:
        return NOTHING
    return f"{row['found']} of {row['runs']}, at least {row['found_lower_95']:.0%}"


def _spread(values: dict[str, float] | None) -> str:
    return NOTHING if values is None else f"{values['median']:.1f}, most {values['most']:.1f}"


def _kelvin(value: float | None) -> str:
    return NOTHING if value is None else f"{value:+.1f}"


def _fault_line(name: str, rows: list[Row]) -> list[str]:
    runs, missed = sum(row["runs"] for row in rows), sum(row["missed"] for row in rows)
    tripping = [row for row in rows if row["expect"] in ("trip", "refused")]
    of = sum(row["runs"] for row in tripping)
    lowest = lower_share(sum(row["found"] for row in tripping), of) if of else None
    longest = max((row["found_s"]["most"] for row in tripping if row["found_s"]), default=None)
    return [
        name,
        str(runs),
        str(missed),
        NOTHING if lowest is None else f"{lowest:.0%}",
        NOTHING if longest is None else f"{longest:.1f}",
    ]


def _not_detectable(rows: list[Row]) -> Markup:
    weak = [row for row in rows if "reason" in row]
    if not weak:
        return tag("p", "None of what was run.")
    told: list[list[object]] = [
        [f"{row['row']} {row['phase']}, {row['setup']}", row["reason"], row["hardware"]]
        for row in weak
    ]
    return table(["fault", "why", "what answers for it"], told, 3)


def _hazards() -> Markup:
    """Return the hazards of the shipped safety page."""
    text = (files("emberbed") / "docs" / "safety.md").read_text(encoding="utf-8")
    made = text.split("<!-- made: hazards -->")[1].split("<!-- end -->")[0]
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in made.splitlines()
        if line.startswith("|")
    ]
    heads, _rule, *body = rows
    return table([head.strip() for head in heads], [list(row) for row in body], len(heads))
