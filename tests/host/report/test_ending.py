"""How a run ended: cooling nobody saw to its end, runs that belong together, what to do next."""

import pytest

from emberbed import words
from emberbed.report.ending import ending_of
from emberbed.store.run_store import RunStore
from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from emberbed_fw import trip_codes
from emberbed_fw.plan import ROLE_EMITTER
from emberbed_fw.units import NO_READING_CDEG
from tests.host.report.hand_run import HandRun, store_hand_run
from tests.host.store.synthetic_run import PLAN, drawn_record, store_run
from tests.support.bench import OPEN_WORD
from tests.support.plans import patch_plan

AT_71_C = 1612 + 380  # in the drawn run channel 0 cools from 90 C at 0.5 C/s


@pytest.fixture
def store(tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        yield opened


def lines_of(store, run_id):
    return ending_of(store, store.run(run_id), store.events(run_id)).lines()


def pulled(channel=0, ticks=150, verdict=rs.FINISHED, **fields):
    """The end of the drawn run: at 71 C one couple has no reading any more."""
    lost = {f"channel{channel}_cdeg": NO_READING_CDEG, "verdict": verdict, **fields}
    first = AT_71_C + 1
    records = [drawn_record(tick, verdict=rs.FINISHED) for tick in range(first - 100, first)]
    records += [drawn_record(tick, **lost) for tick in range(first, first + ticks)]
    return [*records, drawn_record(first + ticks, state=verdict, **lost)]


def test_a_pulled_sensor_leaves_the_cooling_unproven(store):
    lines = lines_of(store, store_run(store, pulled()))
    assert lines == [
        "Finished: every stage ran to its end. No limits exceeded.",
        "Cooling not proven: a sensor was pulled at 71 °C (top_near_chip).",
        words.HOT,
    ]


def test_a_last_reading_long_ago_is_found(store):
    lines = lines_of(store, store_run(store, pulled(ticks=700)))
    assert "pulled at 71 °C (top_near_chip)" in lines[1]


def test_the_firmware_ends_such_a_run_by_itself(store):
    """The couple is pulled in the firmware's own cooling; 10 s later the run has ended."""
    run = HandRun().start().until_stage(3).answered().until_stage(6).did(ms.COOL_DOWN)
    while run.board_c[1] > 71:
        run.tick()
    run.raw[1] = OPEN_WORD
    run.until(rs.FINISHED, 150)
    lines = lines_of(store, store_hand_run(store, run))
    assert "Cooling not proven: a sensor was pulled at 71 °C (edge)." in lines
    assert lines[1].startswith("Save what you did: ") and lines[-1] == words.HOT


def test_a_sensor_that_tripped_was_not_pulled(store):
    trip = dict(verdict=rs.TRIPPED, trip=trip_codes.SENSOR_OPEN)
    lines = lines_of(store, store_run(store, pulled(**trip), end=("tripped", 3)))
    assert "Cooling not proven: the sensor top_near_chip had no reading at the end, its last was" \
        " 71 °C." in lines  # fmt: skip


def test_the_hottest_of_several_pulled_ones_is_told(store):
    records = pulled(channel1_cdeg=NO_READING_CDEG)
    lines = lines_of(store, store_run(store, records))
    assert (
        "Cooling not proven: 2 sensors were pulled, the hottest at 71 °C (top_near_chip)." in lines
    )


def test_a_board_that_was_never_seen_cool(store):
    records = [drawn_record(AT_71_C, state=rs.FINISHED, verdict=rs.FINISHED)]
    lines = lines_of(store, store_run(store, records))
    assert "Cooling not proven: the board still had 71 °C (top_near_chip) when the record ended." \
        in lines  # fmt: skip


@pytest.mark.parametrize(
    "records",
    [
        [drawn_record(2500, state=rs.FINISHED, verdict=rs.FINISHED)],  # 45.6 C
        [drawn_record(AT_71_C, verdict=rs.FINISHED)],  # not at its end
        [drawn_record(AT_71_C, state=rs.STOPPED, verdict=rs.STOPPED, energy_j=0)],  # never heated
    ],
    ids=["cool", "cooling", "cold"],
)
def test_a_proven_cooling_says_nothing(store, records):
    assert not any("not proven" in line for line in lines_of(store, store_run(store, records)))


def test_the_heater_s_own_sensor_may_stay_hot_or_silent(store):
    plan = patch_plan(PLAN, role1=ROLE_EMITTER)
    for reading in (NO_READING_CDEG, 30000):
        record = drawn_record(2500, state=rs.FINISHED, verdict=rs.FINISHED, channel1_cdeg=reading)
        lines = lines_of(store, store_run(store, [record], plan=plan))
        assert not any("not proven" in line for line in lines)


def test_runs_that_belong_together_name_each_other(store):
    tripped = store_run(store, [drawn_record(5)], end=("tripped", 3))
    following = store_run(store, [drawn_record(50)], linked_to=tripped)
    assert f"Went on as run {following}." in lines_of(store, tripped)
    assert f"Went on from run {tripped}." in lines_of(store, following)
    assert not any(
        "Went on" in line for line in lines_of(store, store_run(store, [drawn_record(0)]))
    )


@pytest.mark.parametrize(
    ("touch", "hinted"),
    [(touch, touch not in (ms.MARK, ms.FAN_NOW, ms.ANSWER)) for touch in ms.TOUCH_NAMES],
    ids=list(ms.TOUCH_NAMES.values()),
)
def test_what_was_changed_may_be_saved(store, touch, hinted):
    run_id = store_run(store, [drawn_record(5), drawn_record(6, touch=touch), drawn_record(7)])
    hint = f"Save what you did: emberbed runs revise {run_id} NEW.toml"
    assert (hint in lines_of(store, run_id)) == hinted


def test_an_open_run_has_nothing_to_save_yet(store):
    run_id = store_run(store, [drawn_record(6, touch=ms.EXTEND)], end=None)
    assert not any("Save" in line for line in lines_of(store, run_id))
