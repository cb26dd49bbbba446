"""A report of acceptance as one HTML page that needs nothing else and prints well."""

from emberbed.acceptance.report import (
    FAILED,
    INJECTED,
    LAMP,
    MAINS,
    NOT_DONE,
    NOT_FITTED,
    PARTS,
    PASSED,
    Report,
    StepResult,
)
from emberbed.report.markup import Markup, facts, joined, sentences, table, tag
from emberbed.report.page_style import STYLE
from emberbed.trip_titles import TRIP_TITLES

POLICY = "default-src 'none'; style-src 'unsafe-inline'"
NOTHING = "–"
OWN_STYLE = (
    "main { max-width: 76rem } table.steps { font-size: .9rem }\n"
    "td.failed, td.not-done { font-weight: 600 } td.failed { color: var(--bad) }\n"
    "table.steps td:first-child { min-width: 3rem; white-space: nowrap }\n"
    ".sign { margin-top: 2.5rem; display: flex; flex-wrap: wrap; gap: 2rem }\n"
    ".sign div { flex: 1 1 16rem; border-top: 1px solid var(--ink); padding-top: .3rem }\n"
)
MS_PER_S = 1000
TITLES = {
    INJECTED: "1 to 7: the logic, on injected readings, with no mains",
    LAMP: "8: the pins, with a lamp as load",
    MAINS: "9: mains commissioning, by a competent person",
}
CAUTIONS = [
    "Heat and mains hurt people. Mains work is for a person who is competent, and allowed to do it"
    " where the bench stands; local code and the makers' sheets override every figure here.",
    "An independent thermal cut-out with manual reset, with no software in it, is assumed"
    " throughout. Nothing in this report replaces it, or its test by hand.",
    "Part 1 to 7 proves what the firmware decides, not what is wired: only the lamp shows that a"
    " pin does what it is told.",
]
Cell = Markup | str


def page(report: Report) -> str:
    """Return the page as text."""
    title = f"Acceptance of device {report.device}"
    body = tag(
        "main",
        tag("h1", title),
        tag("p", _lead(report), class_="lead"),
        _verdict(report),
        facts(_facts(report)),
        tag("h2", "Cautions"),
        sentences(CAUTIONS),
        *(each for part in PARTS for each in _part(report, part)),
        *_unreached(report),
        _signature(report),
    )
    head = joined(
        Markup('<meta charset="utf-8">'),
        Markup(f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'),
        Markup('<meta name="viewport" content="width=device-width, initial-scale=1">'),
        tag("title", title),
        tag("style", Markup(STYLE + OWN_STYLE)),
    )
    return f"<!doctype html>\n{tag('html', tag('head', head), tag('body', body), lang='en')}\n"


def verdict(report: Report) -> str:
    """Return what the report comes to, in one sentence."""
    if report.failed:
        numbers = ", ".join(step.number for step in report.failed)
        return f"Not accepted: {_steps(len(report.failed))} failed ({numbers})."
    if report.is_accepted:
        return "Accepted: logic, pins and mains."
    done = [part for part in PARTS if report.has_passed(part)]
    if not done:
        return "Not accepted: no part is complete."
    missing = [TITLES[part].split(": ", 1)[1] for part in PARTS if part not in done]
    return f"Accepted so far; still to do: {'; '.join(missing)}."


def _steps(count: int) -> str:
    return f"{count} step{'' if count == 1 else 's'}"


def _lead(report: Report) -> str:
    what = (
        "A virtual device: no mains, no heat, nothing to trust with either."
        if report.virtual
        else ""
    )
    return f"{report.date.replace('T', ' ')[:16]} UTC. {what}".strip()


def _verdict(report: Report) -> Markup:
    counts = {
        outcome: sum(step.outcome == outcome for step in report.steps)
        for outcome in (PASSED, FAILED, NOT_FITTED, NOT_DONE)
    }
    told = ", ".join(f"{count} {outcome}" for outcome, count in counts.items() if count)
    bad = [f"{step.number} {step.title}: {step.said}" for step in report.failed]
    inside = [tag("strong", verdict(report)), tag("p", f"{_steps(len(report.steps))}: {told}.")]
    if bad:
        inside.append(sentences(bad))
    return tag("div", *inside, class_="verdict bad" if bad else "verdict")


def _facts(report: Report) -> list[tuple[str, object]]:
    return [
        ("device", report.device),
        ("signed by", report.signed_by),
        ("firmware", f"{report.firmware_version}, fingerprint {report.firmware[:16]}"),
        ("runs in", report.runs_in),
        ("sensors", ", ".join(report.channels)),
        ("description", f"fingerprint {report.description}"),
        ("program", f"emberbed {report.program}"),
    ]


def _part(report: Report, part: str) -> list[Markup]:
    steps = report.of_part(part)
    if not steps:
        return [tag("h2", TITLES[part]), tag("p", "Not done.")]
    heads = ["step", "what", "outcome", "measured", "limit", "found", "checks"]
    rows = "".join(_row(step) for step in steps)
    numbers = ("measured", "limit")
    heads_row = [tag("th", one, class_="number" if one in numbers else "") for one in heads]
    head = tag("thead", tag("tr", *heads_row))
    steps_table = tag("table", head, tag("tbody", Markup(rows)), class_="steps")
    return [tag("h2", TITLES[part]), tag("div", steps_table, class_="scroll")]


def _row(step: StepResult) -> Markup:
    said = f"{step.said} (from {step.done_on})" if step.done_on else step.said
    cells: list[Markup] = [
        tag("td", step.number),
        tag("td", step.title),
        tag("td", step.outcome, class_=step.outcome.replace(" ", "-")),
        tag("td", shown(step.measured, step.unit), class_="number"),
        tag("td", shown(step.limit, step.unit), class_="number"),
        tag("td", said),
        tag("td", ", ".join(step.checks) or NOTHING),
    ]
    return tag("tr", *cells)


def shown(number: float | None, unit: str) -> str:
    """Return a figure with its unit, long times in seconds."""
    if number is None:
        return NOTHING
    if unit == "ms" and number >= 10 * MS_PER_S:
        return f"{number / MS_PER_S:g} s"
    return f"{number:g} {unit}".strip()


def _unreached(report: Report) -> list[Markup]:
    if not report.unreached:
        return []
    rows: list[list[object]] = [
        [TRIP_TITLES.get(name, name), why] for name, why in report.unreached.items()
    ]
    return [
        tag("h2", "Proved elsewhere"),
        tag("p", "No reading and no message reaches these trips on a device; the campaign of"
                 " emberbed verify proves them on the same firmware."),
        table(["trip", "why not here"], rows, numbers_from=2),
    ]  # fmt: skip


def _signature(report: Report) -> Markup:
    return tag(
        "div",
        tag("div", f"{report.signed_by}, {report.day}"),
        tag("div", "signature"),
        class_="sign",
    )
