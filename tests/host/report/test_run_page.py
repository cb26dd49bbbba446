"""The run page says what happened in plain words."""

import pytest

from emberbed import words
from emberbed_fw import run_states, trip_codes
from emberbed_fw.units import NO_READING_CDEG, NONE
from tests.host.report.pages import Page, page_of
from tests.host.report.test_words import INNER_WORDS
from tests.host.store.synthetic_run import (
    HOLD_TICKS,
    RAMP_TICKS,
    WAIT_TICKS,
    drawn_record,
    drawn_run,
    facts,
    store_run,
)


def tripped_records():
    """The drawn run whose second sensor breaks in the hold."""
    for tick in range(RAMP_TICKS + 300):
        if tick < RAMP_TICKS + 50:
            yield drawn_record(tick)
        else:
            yield drawn_record(
                tick,
                state=run_states.COOL,
                stage=3,
                trip=trip_codes.SENSOR_OPEN,
                faults_low=trip_codes.SENSOR_OPEN << 4,
                channel1_cdeg=NO_READING_CDEG,
                setpoint_cdeg=NO_READING_CDEG,
            )


DEAD_FROM = RAMP_TICKS + HOLD_TICKS + WAIT_TICKS  # where the drawn cooling begins


def cut_records():
    """The drawn run, stopped 5 s into the hold."""
    stopped = dict(stage=3, verdict=run_states.STOPPED, state=run_states.COOL)
    at = RAMP_TICKS + 50
    ended = drawn_record(at + 300, **{**stopped, "stage": NONE, "state": run_states.STOPPED})
    cooling = [drawn_record(tick, **stopped) for tick in range(at, at + 300)]
    return [*(drawn_record(tick) for tick in range(at)), *cooling, ended]


def test_a_finished_run_is_told_whole(store):
    run_id = store.begin_run(facts())
    records = drawn_run()
    for first in range(0, len(records), 10):
        store.append(run_id, records[first : first + 10])
    store.add_event(run_id, 1412, "prompt", "Asks: Apply flux along two sides of the chip.")
    store.add_event(run_id, None, "note", "Bench 2.")
    store.end_run(run_id, "finished", 0, limits_exceeded=0)
    said = Page(page_of(store, run_id)).plain
    run = store.run(run_id)
    for expected in (
        "Run 1: Weather logger, loose sensor socket",
        "Finished: every stage ran to its end. No limits exceeded.",
        "not that the repair is good",
        "no board was heated",
        "1 ramp 90.0 °C 1:21 1:21 –",
        "2 hold 90.0 °C 1:00 1:00 1:00",
        "3 wait: Apply flux along two sides of the chip 90.0 °C open 0:20 –",
        "largest ramp 0.80 °C/s at top_near_chip",
        "largest cooling rate 0.50 °C/s at top_near_chip",
        "top_near_chip controls the heat MAX31855K 110.0 °C 90.0 °C 0",
        "edge board edge MAX31855K 110.0 °C 86.0 °C 0",
        "1 2:21 2:21 90.0 °C Asks: Apply flux",
        "2 – – – Bench 2.",
        "45 g, 90 × 60 mm, FR-4 Tg 150, SAC305",
        "1000 W",
        "seed 3, speed max",
        "5eed" * 16,
        run.head_sha256 + " (fits the record)",
        run.started_utc[:19].replace("T", " "),
        "independent thermal cut-out",
    ):
        assert expected in said, (expected, said)
    assert not INNER_WORDS.search(said), INNER_WORDS.search(said)


def test_limits_exceeded_stand_beside_finished(store):
    records = [drawn_record(tick, channel0_cdeg=3000 + 32 * min(tick, 200)) for tick in range(300)]
    source = page_of(store, store_run(store, records))  # 3.2 C/s up to 94 C
    said = Page(source).plain
    assert "ran to its end. 1 limit exceeded." in said
    assert "top_near_chip rose by 3.20 °C/s" in said and 'class="verdict bad"' in source


def test_a_trip_says_which_sensor_and_what_to_do(store):
    run_id = store_run(store, list(tripped_records()), end=("tripped", 3))
    said = Page(page_of(store, run_id)).plain
    assert "Tripped: the device switched heat off by itself." in said
    assert "The thermocouple of the sensor edge is open" in said
    assert "What to do: Seat its plug" in said and "stay hot" in said
    assert "3 wait: Apply flux along two sides of the chip 90.0 °C open not reached –" in said
    assert "edge board edge MAX31855K 110.0 °C 86.0 °C 250" in said


def test_over_temperature_names_the_hot_sensor(store):
    record = drawn_record(0, trip=trip_codes.OVER_TEMPERATURE, channel1_cdeg=11500)
    said = Page(page_of(store, store_run(store, [record], end=("tripped", 3)))).plain
    assert "The limit of the sensor edge was passed." in said
    assert "edge reached 115.00 °C" in said


def test_a_trip_without_records_is_told_too(store):
    run_id = store.begin_run(facts())
    store.end_run(run_id, "refused", 2, trip=trip_codes.CONTACTOR_STUCK_CLOSED)
    said = Page(page_of(store, run_id)).plain
    assert "Refused" in said and "Pull the mains plug now" in said
    assert "No record was stored" in said


@pytest.mark.parametrize(
    ("state", "told"),
    [("stopped", "Stopped"), ("link_lost", "PC link lost"), ("interrupted", "breaks off")],
)
def test_every_end_has_its_words_and_its_caution(store, state, told):
    said = Page(page_of(store, store_run(store, [drawn_record(90)], end=(state, 4)))).plain
    assert told in said and words.HOT in said
    assert words.HOT not in Page(page_of(store, store_run(store, [drawn_record(90)]))).plain


def test_a_run_stopped_before_heat_was_not_hot(store):
    records = [drawn_record(tick, energy_j=0) for tick in range(20)]
    said = Page(page_of(store, store_run(store, records, end=("stopped", 4)))).plain
    assert "Stopped before heating: nothing was heated." in said and words.HOT not in said


def test_a_stage_cut_short_is_marked(store):
    said = Page(page_of(store, store_run(store, cut_records(), end=("stopped", 4)))).plain
    assert "1 ramp 90.0 °C 1:21 1:21 –" in said
    assert "2 hold 90.0 °C 1:00 0:05, cut short 0:05" in said
    assert "4 cool 50.0 °C open 0:30 –" in said, said


def test_a_record_that_breaks_off_cuts_its_stage_short(store):
    records = [drawn_record(tick) for tick in range(300)]
    said = Page(page_of(store, store_run(store, records, end=("interrupted", None)))).plain
    assert "1 ramp 90.0 °C 1:21 0:30, cut short –" in said
    said = Page(page_of(store, store_run(store, records, end=None))).plain
    assert "cut short" not in said


def test_a_dead_sensor_tells_no_cooling_rate(store):
    records = [
        drawn_record(tick, channel0_cdeg=NO_READING_CDEG if tick >= DEAD_FROM else 9000)
        for tick in range(DEAD_FROM - 200, DEAD_FROM + 900)
    ]
    said = Page(page_of(store, store_run(store, records, end=("tripped", 3)))).plain
    assert "largest cooling rate 0.50 °C/s at edge" in said
    dark = [drawn_record(tick) for tick in range(300)]
    said = Page(page_of(store, store_run(store, dark, end=("interrupted", None)))).plain
    assert "largest cooling rate – " in said


def test_a_hurried_simulation_says_how_long_it_took(store):
    records = [drawn_record(tick) for tick in range(300)]
    said = Page(page_of(store, store_run(store, records))).plain
    assert "0:30 recorded, simulated in 0 s." in said
    assert "seed 3, speed max, simulated in 0 s" in said
    said = Page(page_of(store, store_run(store, records, simulated=False))).plain
    assert "simulated in" not in said


def test_an_open_run_has_a_page(store):
    run_id = store_run(store, [drawn_record(tick) for tick in range(30)], end=None)
    assert "still being recorded" in Page(page_of(store, run_id)).plain
