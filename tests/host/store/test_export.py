"""What is written as CSV reads back equal, also with hostile names and missing readings."""

import csv
import io

import pytest

from emberbed.store.export import write_csv
from emberbed.store.run_store import RunStore
from emberbed_fw import messages, run_states, trip_codes
from emberbed_fw.settings import CONVERTER_MAX31855K
from emberbed_fw.units import CALIBRATION_ONE_Q12, NO_READING_CDEG, NONE
from tests.host.store.synthetic_run import drawn_record, facts, store_run, tick_record
from tests.support.plans import bench_settings

COLUMNS = [
    "tick", "elapsed_s", "state", "stage", "stage_kind", "waits_for", "setpoint_c",
    "top_near_chip_c", "edge_c", "demand_percent", "driven", "contactor", "fan", "energy_j", "trip",
    "touch", "touch_source", "mark", "offset_c", "rebuilt",
]  # fmt: skip


@pytest.fixture
def store(tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        yield opened


def exported(store, run_id):
    stream = io.StringIO(newline="")
    write_csv(store, run_id, stream)
    return stream.getvalue()


def named_settings(*names):
    return bench_settings(
        channels=tuple((name, CONVERTER_MAX31855K, 26000, 0, CALIBRATION_ONE_Q12) for name in names)
    )


def test_what_hands_did_is_told_by_its_names(store):
    touched = tick_record(
        0, touch=messages.OFFSET, touch_source=messages.BY_PAGE, offset_cdeg=-150, mark=3
    )
    newer = tick_record(1, touch=77, touch_source=9, mark=12)
    run_id = store_run(store, [touched, newer, tick_record(2)])
    rows = list(csv.DictReader(io.StringIO(exported(store, run_id), newline="")))
    told = [[row[name] for name in ("touch", "touch_source", "mark")] for row in rows]
    assert told == [["OFFSET", "PAGE", "SOLDER_MOVES"], ["77", "9", "12"], ["", "", ""]]
    assert [row["offset_c"] for row in rows] == ["-1.50", "0.00", "0.00"]


def test_the_whole_run_reads_back_equal(store):
    records = [drawn_record(tick) for tick in range(0, 1700, 7)]
    run_id = store_run(store, records)
    text = exported(store, run_id)
    assert text.endswith("\r\n") and text.count("\r\n") == len(records) + 1  # RFC 4180 section 2
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert list(rows[0]) == COLUMNS
    for row, record in zip(rows, store.records(run_id), strict=True):
        assert int(row["tick"]) == record.tick
        assert float(row["elapsed_s"]) == pytest.approx(record.tick * 0.1)
        assert row["state"] == run_states.STATE_NAMES[record.state]
        assert int(row["stage"]) == record.stage + 1
        assert row["stage_kind"] == ("ramp", "hold", "wait", "cool")[record.stage]
        assert round(float(row["top_near_chip_c"]) * 100) == record.channel0_cdeg
        assert round(float(row["edge_c"]) * 100) == record.channel1_cdeg
        assert round(float(row["demand_percent"]) / 100 * 32768) == record.demand0_q15
        assert int(row["energy_j"]) == record.energy_j
        assert int(row["driven"]) == record.driven_zones
        heats = record.stage < 3
        assert (row["contactor"], row["fan"]) == (("1", "0") if heats else ("0", "1"))
        if heats:
            assert round(float(row["setpoint_c"]) * 100) == record.setpoint_cdeg
        else:
            assert row["setpoint_c"] == ""


def test_demand_reads_back_at_every_step(store):
    run_id = store.begin_run(facts())
    for first in range(0, 32769, 5003):
        records = [tick_record(first + n, demand0_q15=min(first + n, 32768)) for n in range(10)]
        store.append(run_id, records)
    for row in csv.DictReader(io.StringIO(exported(store, run_id), newline="")):
        assert round(float(row["demand_percent"]) / 100 * 32768) == min(int(row["tick"]), 32768)


def test_no_reading_is_empty_and_negative_numbers_stay_numbers(store):
    run_id = store_run(
        store,
        [
            tick_record(3, channel0_cdeg=-520, trip=trip_codes.SENSOR_OPEN, stage=NONE),
            tick_record(4, channel0_cdeg=NO_READING_CDEG, waits_for=run_states.WAITS_BOARD),
        ],
    )
    first, second = csv.DictReader(io.StringIO(exported(store, run_id), newline=""))
    assert (first["top_near_chip_c"], first["edge_c"]) == ("-5.20", "")
    assert (first["stage"], first["stage_kind"], first["trip"]) == ("", "", "SENSOR_OPEN")
    assert (second["top_near_chip_c"], second["trip"]) == ("", "")
    assert second["waits_for"] == "BOARD"


@pytest.mark.parametrize("start", ["=", "+", "-", "@"])
def test_a_name_cannot_become_a_formula(store, start):
    # OWASP ASVS 1.2.10; a cell that starts with one of these is run by a spreadsheet
    run_id = store_run(store, [drawn_record(0)], settings=named_settings(start + 'a,"b', "edge"))
    header = next(csv.reader(io.StringIO(exported(store, run_id), newline="")))
    assert header[7] == f"'{start}a,\"b_c"
    assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r", "\0")) for cell in header)


def test_control_characters_do_not_reach_the_file(store):
    run_id = store_run(store, [drawn_record(0)], settings=named_settings("\t=x", "e\r\nf"))
    header = next(csv.reader(io.StringIO(exported(store, run_id), newline="")))
    assert header[7:9] == ["'=x_c", "ef_c"]


def test_equal_names_get_different_columns(store):
    run_id = store_run(store, [drawn_record(0)], settings=named_settings("edge", "edge"))
    assert list(csv.reader(io.StringIO(exported(store, run_id))))[0][7:9] == ["edge_c", "edge_1_c"]


def test_elapsed_time_is_the_device_s_own(store):
    records = [tick_record(5, elapsed_ms=900), tick_record(6, elapsed_ms=130), tick_record(9)]
    rows = csv.DictReader(io.StringIO(exported(store, store_run(store, records)), newline=""))
    # 130 ms late tick, then two missing ticks of 100 ms each and the one of the record
    assert [row["elapsed_s"] for row in rows] == ["0.000", "0.130", "0.430"]


def test_a_header_that_cannot_be_read_still_exports(store):
    run_id = store_run(store, [drawn_record(2)], plan=b"\x09newer", settings=b"")
    row = next(csv.DictReader(io.StringIO(exported(store, run_id), newline="")))
    assert (row["channel0_c"], row["stage"], row["stage_kind"]) == ("25.16", "1", "")
    assert "channel7_c" in row
