"""Shares with their intervals, costs, and whether repairs pay; checked against published values."""

from decimal import Decimal

import pytest
from scipy.special import ndtri
from scipy.stats import beta

from emberbed.jobs import model
from emberbed.jobs.book import JobBook
from emberbed.jobs.costs import costs_of
from emberbed.jobs.overview import done_jobs, overview_of
from emberbed.jobs.prices import CURRENCY, HOUR, KWH, Prices, amount, prices_at, set_prices
from emberbed.jobs.run_figures import HeatingRun
from emberbed.jobs.statistics import NOT_TOLD, DoneJob, share_interval, statistics
from tests.support import bench_jobs
from tests.support.bench_jobs import LOGGER, PRINTER, RUN_ENERGY_J, RUN_TICKS


def run(number=1, energy_j=720_000, seconds=1200.0, mass_g=240.0, simulated=False, profile="p"):
    began, ended = (f"2026-03-01T10:{minute}:00.000+00:00" for minute in ("00", "20"))
    told = (number, began, ended, "finished", profile, 0)
    return HeatingRun(*told, seconds, energy_j, mass_g, simulated, None)


def near(amount):
    """Return an amount to compare with; a Decimal carries 28 digits."""
    return pytest.approx(amount, abs=Decimal("1e-20"))


@pytest.mark.parametrize(
    ("works", "jobs", "low", "high"),
    [
        # R. G. Newcombe, Statistics in Medicine 17 (1998) 857, table I, method 3 (Wilson's score
        # without correction), 95 %; the figures from memory
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_the_interval_is_wilsons(works, jobs, low, high):
    assert share_interval(works, jobs) == pytest.approx((low, high), abs=5e-5)


@pytest.mark.parametrize(("works", "jobs"), [(0, 1), (1, 1), (4, 4), (3, 7), (19, 20), (50, 100)])
def test_the_interval_solves_wilsons_equation_and_is_no_wider_than_the_exact_one(works, jobs):
    # its ends are the shares p with (share - p)^2 = z^2 p (1 - p) / n (E. B. Wilson 1927)
    low, high = share_interval(works, jobs)
    z = float(ndtri(0.975))
    for end in (low, high):
        assert (works / jobs - end) ** 2 == pytest.approx(z * z * end * (1 - end) / jobs, abs=1e-12)
    # Clopper and Pearson 1934, by quantiles of the beta distribution
    exact_low = float(beta.ppf(0.025, works, jobs - works + 1)) if works else 0.0
    exact_high = float(beta.ppf(0.975, works + 1, jobs - works)) if works < jobs else 1.0
    assert high - low < exact_high - exact_low
    assert 0.0 <= low <= works / jobs <= high <= 1.0


def test_costs_by_hand(store):
    book = JobBook(store)
    job_id = book.new(PRINTER, minutes="50", worth="120")
    book.add_part(job_id, "ball", 2, "4.10")
    prices = Prices(Decimal("0.30"), Decimal("24"), "EUR")
    costs = costs_of(book.job(job_id), [run(), run(2, 360_000)], prices)
    # 1.08 MJ are 0.3 kWh (3.6 MJ each): 0.09; 50 min of 24 an hour: 20; two parts: 8.20
    assert (costs.energy, costs.hands, costs.parts) == (
        Decimal("0.09"),
        Decimal(20),
        Decimal("8.2"),
    )
    assert (costs.total(), costs.missing, costs.heating_s) == (Decimal("28.29"), (), 2400.0)
    assert (costs.gain(works=True), costs.gain(works=False)) == (
        Decimal("91.71"),
        Decimal("-28.29"),
    )


def test_what_is_not_known_is_no_zero(store):
    book = JobBook(store)
    job_id = book.new(PRINTER)
    book.add_part(job_id, "ball", 1, "4.10")
    book.add_part(job_id, "pad")
    costs = costs_of(book.job(job_id), [run(energy_j=None)], Prices())
    assert (costs.energy, costs.hands, costs.parts) == (None, None, None)
    assert costs.missing == ("energy", "work", "parts") and costs.gain(works=True) is None
    assert (costs.minutes, costs.minutes_told) == (20, False)  # of the run
    nothing = costs_of(book.job(book.new(LOGGER, minutes="0")), [], Prices())
    assert (nothing.total(), nothing.missing) == (Decimal(0), ())


def test_jobs_keep_the_prices_of_their_time(store):
    assert prices_at(store.database, None) == Prices()
    set_prices(store.database, {KWH: "0.3247", CURRENCY: "eur"})
    book = JobBook(store)
    job_id = book.new(PRINTER, minutes="60")
    book.close(job_id, model.WORKS)
    store.database.all("UPDATE bench_price SET set_utc = '2020-01-01T00:00:00.000+00:00'")
    set_prices(store.database, {HOUR: "24"})
    store.database.all("UPDATE bench_price SET set_utc = '2021-01-01T00:00:00.000+00:00'"
                       " WHERE name = 'hour'")  # fmt: skip
    set_prices(store.database, {KWH: "0.5", HOUR: "30"})
    now, then = prices_at(store.database, None), overview_of(store, job_id).prices
    assert now == Prices(Decimal("0.5"), Decimal(30), "EUR")
    early = prices_at(store.database, "2020-06-01T00:00:00.000+00:00")
    assert early == Prices(Decimal("0.3247"), Decimal(24), "EUR")  # the first hour that is known
    assert then.currency == "EUR" and amount("x", " 0.5 ") == Decimal("0.5")


def test_the_demonstration_counted_again(store, tmp_path):
    bench_jobs.fill(store, tmp_path)
    printers, loggers = statistics(done_jobs(store), ["board", "class"])
    assert (printers.group, printers.jobs, printers.works) == ((PRINTER, "heavy"), 3, 2)
    assert (loggers.group, loggers.jobs, loggers.works) == ((LOGGER, "light"), 2, 1)
    assert printers.mean_minutes == pytest.approx((50 + 75 + 40) / 3)
    assert printers.mean_energy_j == pytest.approx(RUN_ENERGY_J * 4 / 3)
    assert printers.mean_heating_s == pytest.approx(RUN_TICKS / 10 * 4 / 3)
    # by hand: parts 6.40 + 8.20, 165 min of 24 an hour, four runs of 0.32 a kWh; two of three sold
    energy = Decimal(4 * RUN_ENERGY_J) * Decimal("0.32") / 3_600_000
    total = Decimal("14.60") + Decimal(165) * 24 / 60 + energy
    assert printers.gain == near(240 - total)
    assert (printers.cost_per_success, printers.mean_cost) == (near(total / 2), near(total / 3))
    # one of the loggers has a part without a price: nothing is said of both together
    assert (loggers.gain, loggers.cost_per_success, loggers.priced) == (None, None, 1)
    assert loggers.mean_cost == near(Decimal(25) * 24 / 60 + energy / 4)


def test_what_says_nothing_of_success_is_left_out(store, tmp_path):
    bench_jobs.fill(store, tmp_path, simulated=True)
    assert statistics(done_jobs(store), ["profile"]) == []
    assert sum(one.jobs for one in statistics(done_jobs(store), ["profile"], simulated=True)) == 5


def test_a_job_counts_under_its_last_profile_and_what_is_not_weighed_is_said(store):
    book = JobBook(store)
    job_id = book.new(PRINTER, minutes="10")
    book.close(job_id, model.WORKS)
    runs = [run(1, profile="first"), run(2, profile="second", mass_g=None)]
    job = book.job(job_id)
    (one,) = statistics([DoneJob(job, runs, costs_of(job, runs, Prices()))], ["profile", "class"])
    assert one.group == ("second", NOT_TOLD)
    mixed = [run(1), run(2, simulated=True)]
    assert statistics([DoneJob(job, mixed, costs_of(job, mixed, Prices()))], ["profile"]) == []
