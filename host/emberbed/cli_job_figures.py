"""`emberbed job stats`, `prices`, `export`: what the jobs of a bench come to."""

import json
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from emberbed.bench.prepare import NotReady
from emberbed.cli_common import Json, StoreFile, out, out_sentence, print_json
from emberbed.cli_files import check_places, write_file
from emberbed.cli_job_common import job_book
from emberbed.jobs.prices import CURRENCY, HOUR, KWH, money, prices_at, set_prices
from emberbed.plain_text import did_you_mean, printable

CSV, JSON = ".csv", ".json"


def add_commands(app: typer.Typer) -> None:
    for command in (stats, prices, export):
        app.command()(command)


def stats(
    by: Annotated[
        str, typer.Option("--by", help="profile, board, class, or some of them with commas.")
    ] = "profile,class",
    simulated: Annotated[
        bool, typer.Option("--simulated", help="Count the jobs of the virtual device instead.")
    ] = False,
    store: StoreFile = None,
    json_answer: Json = False,
) -> None:
    """Tell how often repairs succeed, how sure that is, what they take and whether they pay."""
    from emberbed.jobs.job_json import group_row
    from emberbed.jobs.job_lines import statistics_lines
    from emberbed.jobs.overview import done_jobs
    from emberbed.jobs.statistics import statistics

    with job_book(store) as (run_store, _book):
        keys = _keys(by)
        currency = prices_at(run_store.database, None).currency
        figures = statistics(done_jobs(run_store), keys, simulated)
    if json_answer:
        print_json([{**group_row(one, keys), "currency": currency} for one in figures])
        return
    if not figures:
        heater = "on the virtual device" if simulated else "on a real heater"
        out_sentence(f"No job that heated {heater} is closed with what came of it.")
        return
    for line in statistics_lines(figures, keys, currency):
        out_sentence(line)


def prices(
    kwh: Annotated[str | None, typer.Option("--kwh", help="What a kWh costs.")] = None,
    hour: Annotated[str | None, typer.Option("--hour", help="What an hour of work costs.")] = None,
    currency: Annotated[
        str | None, typer.Option("--currency", help="Its three letters, such as EUR.")
    ] = None,
    store: StoreFile = None,
    json_answer: Json = False,
) -> None:
    """Set what the bench pays from now on, or show it; closed jobs keep their prices."""
    asked = {KWH: kwh, HOUR: hour, CURRENCY: currency}
    given = {name: text for name, text in asked.items() if text is not None}
    with job_book(store, create=True) as (run_store, _book):
        set_prices(run_store.database, given)
        now = prices_at(run_store.database, None)
    if json_answer:
        print_json({name: str(value or "") or None for name, value in asdict(now).items()})
        return
    out(f"A kWh: {_priced(now.kwh, now.currency)}")
    out(f"An hour of work: {money(now.hour, now.currency)}")


def export(
    to: Annotated[Path, typer.Option("--to", help="File for the jobs, .csv or .json.")],
    job: Annotated[str | None, typer.Argument(metavar="[JOB]", help="One job; else all.")] = None,
    store: StoreFile = None,
) -> None:
    """Write jobs for other programs: CSV with a row a job, or JSON with all of each."""
    from emberbed.jobs.export import jobs_csv, jobs_json
    from emberbed.jobs.overview import overview_of

    check_places({"--to": to})
    with job_book(store) as (run_store, book):
        form = to.suffix.lower()
        if form not in (CSV, JSON):
            raise NotReady([f"{to} has no form that jobs can have: name a file {CSV} or {JSON}"])
        wanted = [one.id for one in book.jobs()] if job is None else [book.job(job).id]
        one = job is not None  # else too many records would have to be read
        overviews = [overview_of(run_store, number, with_passes=one) for number in wanted]
        folder = run_store.path.parent
    if form == CSV:
        text = jobs_csv(overviews, folder)
    else:
        text = json.dumps(jobs_json(overviews, folder), indent=1, ensure_ascii=False) + "\n"
    write_file(to, text)
    out(str(to))


def _keys(by: str) -> list[str]:
    from emberbed.jobs.statistics import KEYS

    keys = [name.strip() for name in by.split(",")]
    for name in keys:
        if name not in KEYS:
            mend = did_you_mean(name, KEYS, "use some of")
            raise NotReady([f'--by "{printable(name)}" is not known; {mend}'])
    return list(dict.fromkeys(keys))


def _priced(kwh, currency: str) -> str:
    return "not known" if kwh is None else f"{kwh} {currency}".rstrip()
