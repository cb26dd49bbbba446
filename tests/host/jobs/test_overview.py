"""A job seen whole: its runs with those that went on, what was confirmed, passes of the board."""

from datetime import datetime, timedelta

from emberbed.jobs.book import JobBook
from emberbed.jobs.checklists import shipped
from emberbed.jobs.job_json import job_json
from emberbed.jobs.job_lines import job_lines
from emberbed.jobs.overview import overview_of
from emberbed.jobs.run_figures import jobs_of_board
from emberbed.page.before_heat import said_before_heat
from tests.host.report.test_words import INNER_WORDS
from tests.host.store.synthetic_run import PROFILE, drawn_record, facts, store_run
from tests.support import bench_jobs
from tests.support.bench_jobs import PRINTER

LEADED = PROFILE.replace("SAC305", "Sn63Pb37")


def lines(store, number="last"):
    overview = overview_of(store, number, with_passes=True)
    return list(job_lines(overview, store.path.parent))


def melted(ticks):
    """Return records whose first sensor is above 183 degC (Sn63Pb37) in the middle."""
    hot = range(len(ticks) // 3, 2 * len(ticks) // 3)
    return [
        drawn_record(tick, **({"channel0_cdeg": 20_000} if n in hot else {}))
        for n, tick in enumerate(ticks)
    ]


def test_runs_that_went_on_belong_to_the_job_and_refused_ones_heated_nothing(store):
    book = JobBook(store)
    job_id = book.new(PRINTER)
    records = [drawn_record(tick) for tick in range(30)]
    first = store_run(store, records, end=("tripped", 3))
    second = store_run(store, records, linked_to=first)
    book.join_run(job_id, first)
    refused = store.begin_run(facts())
    store.end_run(refused, "refused", 2)
    book.join_run(job_id, refused)
    runs = overview_of(store, job_id).runs
    assert [(run.id, run.state) for run in runs] == [(first, "tripped"), (second, "finished")]
    assert runs[1].energy_j == 29 * 37 and runs[1].seconds == 3.0


def test_what_was_confirmed_on_the_page_answers_the_list(store):
    book = JobBook(store)
    job_id = book.new(PRINTER)
    run_id = store.begin_run(facts())
    store.add_event(run_id, None, *said_before_heat(""))
    store.end_run(run_id, "finished", 0)
    book.join_run(job_id, run_id)
    checked = {one.item.id: one for one in overview_of(store, job_id).checked["before"]}
    assert {name for name, one in checked.items() if one.said("yes")} == {
        "batteries", "plastics", "sensors", "flat", "extraction"}  # fmt: skip
    assert checked["flat"].answer.by_run == run_id
    book.answer(job_id, "before", [(shipped("before").item("flat"), "no")])
    checked = {one.item.id: one for one in overview_of(store, job_id).checked["before"]}
    assert checked["flat"].said("no"), "what a person says counts more"


def test_residue_that_was_cleaned_on_another_day_is_told(store):
    book = JobBook(store)
    job_id = book.new(PRINTER)
    run_id = store_run(store, [drawn_record(tick) for tick in range(10)])
    book.join_run(job_id, run_id)
    book.answer(job_id, "after", [(shipped("after").item("clean"), "yes")])
    assert not any("after the heat" in line for line in lines(store, job_id))
    later = (datetime.now().astimezone() + timedelta(days=2)).isoformat(timespec="milliseconds")
    store.database.all("UPDATE job_entry SET entered_utc = ? WHERE subject = ?",
                       later, "check/after/clean")  # fmt: skip
    told = "    residue cleaned: yes, told 2 days after the heat: look at it once more"
    assert told in lines(store, job_id)


def test_passes_count_over_all_jobs_of_the_serial_number(store):
    book = JobBook(store)
    hot = melted(range(90))
    numbers = []
    for serial in ("lp-0412", "LP-0412", "LP-0999"):
        job_id = book.new(PRINTER, serial=serial)
        numbers.append(store_run(store, hot, simulated=False, profile_toml=LEADED))
        book.join_run(job_id, numbers[-1])
    simulated = store_run(store, hot, profile_toml=LEADED)
    book.join_run(2, simulated)
    said = "Passes above liquidus on this board: 2 of 3, in its records 1, 2."
    assert said in lines(store, 1) and said in lines(store, 2)
    assert "Passes above liquidus on this board: 1 of 3, in its record 3." in lines(store, 3)
    nameless = book.job(book.new(PRINTER))
    assert jobs_of_board(book.jobs(), nameless) == [nameless]


def test_a_whole_job_as_lines_and_as_data(store, tmp_path):
    numbers = bench_jobs.fill(store, tmp_path)
    said = lines(store, numbers[1])
    for line in (
        "Job 2 (Label printer, main board, serial LP-0533), opened",
        "Fault: 3.3 V shorted",
        "Before heat: 8 of 8 yes",
        "Part 1: 2 x memory, 4.10 EUR each",
        "Photograph 1, before the work: LP-0533-before.png (",
        "Load test 1 passed, 20 min",
        "    Chip [°C]: peak 63.0 °C, mean 44.0 °C over 19:00 (LP-0533.csv)",
        "Heat: 0.031 kWh of the bottom heater, 0.01 EUR",
        "Together: 38.21 EUR",
    ):
        assert any(one.startswith(line) for one in said), line
    assert not INNER_WORDS.search("\n".join(said))
    assert lines(store, numbers[-1])[-1] == "Answer what is open with: emberbed job check 7 before"
    whole = job_json(overview_of(store, numbers[1]), store.path.parent)
    assert [run["run"] for run in whole["runs"]] == [2, 3]
    assert whole["costs"]["total"] == "38.21" and whole["tests"][0]["log"]["rows"] == 20
    assert whole["checks"]["after"][1]["answer"] == "yes"
