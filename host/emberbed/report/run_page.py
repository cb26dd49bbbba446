"""Write a run as one HTML file that needs nothing else: no script, no network, prints well.

The first thing it says is the verdict and what to do; 'finished' is followed by the limits that
were exceeded and never implies a good repair. Everything stored is escaped (`markup`); a content
policy in the page forbids whatever should slip through to run or load.
"""

from pathlib import Path

from emberbed import words
from emberbed.report import display
from emberbed.report.chart import run_chart_svg
from emberbed.report.chart_caption import caption_of
from emberbed.report.markup import Markup, facts, joined, sentences, tag
from emberbed.report.page_style import STYLE
from emberbed.report.run_facts import board_words, heater_words, hurried_words, lead_words
from emberbed.report.run_tables import events, figures, measured, sensors, stages
from emberbed.report.run_view import RunView, chart_of, view_of
from emberbed.report.signs import grouped_signs
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore

_POLICY = "default-src 'none'; style-src 'unsafe-inline'"

_NOT_SHOWN = [
    "Whether the repair is good: look at the joints, then test the board.",
    "Temperatures anywhere but at the beads. A joint under a chip can be hotter or cooler.",
    "Whether the independent thermal cut-out works. This run neither tested nor replaces it.",
    "Rates over less than 10 s: the figures are slopes over windows of 10 s.",
    "A record replaced as a whole. The fingerprint shows later changes to this record; to show"
    " that it is still the same record, compare it with a fingerprint kept elsewhere.",
]


def write_run_page(store: RunStore, run_id: int, path: Path | str) -> None:
    """Write the page of run `run_id`; StoreError when the file cannot be written."""
    page = run_page(view_of(store, run_id))
    try:
        Path(path).write_text(page, encoding="utf-8", newline="\n")
    except OSError as error:
        raise StoreError(
            f"{path} cannot be written ({error.strerror}); name another file for the run page"
        ) from error


def run_page(view: RunView) -> str:
    """Return the page as text."""
    heading = f"Run {view.run.id}: {view.run.profile_name}"
    body = tag("main", *_sections(view, heading))
    head = joined(
        Markup('<meta charset="utf-8">'),
        Markup(f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'),
        Markup('<meta name="viewport" content="width=device-width, initial-scale=1">'),
        tag("title", heading),
        tag("style", Markup(STYLE)),
    )
    return f"<!doctype html>\n{tag('html', tag('head', head), tag('body', body), lang='en')}\n"


def _sections(view: RunView, heading: str) -> list[Markup]:
    return [
        tag("h1", heading),
        tag("p", lead_words(view), class_="lead"),
        _verdict(view),
        _figure(view),
        _section("Measured against wanted", measured(view)),
        _section("Stages", stages(view)),
        _section("Figures", figures(view)),
        _section("Sensors", sensors(view)),
        _section("Events", events(view)),
        _section("This run", _facts(view)),
        _section("What this page does not show", sentences(_NOT_SHOWN)),
    ]


def _section(heading: str, content: Markup) -> Markup:
    return tag("section", tag("h2", heading), content)


def _verdict(view: RunView) -> Markup:
    exceeded = view.figures.limits_exceeded
    energy_j = view.ending.energy_j
    parts = [tag("strong", words.verdict_words(view.run.state, len(exceeded), energy_j))]
    for number, trip in enumerate(view.ending.trips):
        parts.append(tag("p", "And then: " if number else "", trip.happened))
        parts.append(tag("p", tag("b", "What to do: "), trip.mend))
    parts += [tag("p", said) for said in (*view.ending.afterwards, *view.ending.cautions())]
    if exceeded:
        parts.append(tag("p", "Limits exceeded:"))
        parts.append(sentences(exceeded))
    if view.run.state == "finished":
        parts.append(tag("p", "Finished says that the stages ran, not that the repair is good."))
    bad = view.run.state not in ("open", "finished") or exceeded
    verdict = tag("div", *parts, class_="verdict bad" if bad else "verdict")
    return joined(verdict, _tampering(view))


def _tampering(view: RunView) -> Markup:
    if not view.audit:
        return Markup("")
    warning = tag("strong", "This record was changed or damaged after it was stored.")
    return tag("div", warning, sentences(grouped_signs(view.audit)), class_="verdict bad")


def _figure(view: RunView) -> Markup:
    if not len(view.series):
        return tag("p", "No record was stored, so there is no curve to show.")
    chart = chart_of(view)
    drawn = tag("div", Markup(run_chart_svg(chart)), class_="scroll")
    return tag("figure", drawn, tag("figcaption", caption_of(chart)))


def _facts(view: RunView) -> Markup:
    run = view.run
    checked = "does not fit the record, see above" if view.audit else "fits the record"
    pairs: list[tuple[str, object]] = [
        ("profile", run.profile_name),
        ("board", board_words(view)),
        ("run number", run.id),
        ("started, local", display.local_time(run.started_utc)),
        ("started, UTC", display.utc_time(run.started_utc)),
        ("ended, UTC", display.utc_time(run.ended_utc)),
        ("exit code", display.NOTHING if run.exit_code is None else run.exit_code),
        ("device", f"{run.device}, firmware on {run.engine}"),
        ("heater", heater_words(view)),
        ("firmware", run.firmware_version),
        ("firmware fingerprint", tag("code", run.firmware_digest)),
        ("emberbed on the PC", run.host_version),
        ("record fingerprint", joined(tag("code", run.head_sha256), f" ({checked})")),
    ]
    if run.simulated:
        seed = display.NOTHING if run.seed is None else run.seed
        pairs.insert(9, ("simulation", f"seed {seed}, speed {run.speed}{hurried_words(view)}"))
    return facts(pairs)
