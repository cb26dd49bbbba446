"""CSV, JSON and Parquet say the same, and pandas and polars read each in two lines."""

import json

import pytest

from emberbed.store import export
from emberbed.store.run_store import RunStore
from emberbed_fw import messages
from emberbed_fw.units import NO_READING_CDEG
from tests.host.store.synthetic_run import drawn_record, store_run
from tests.support.parts import need_python_module

TEXT = ("state", "stage_kind", "waits_for", "trip", "touch", "touch_source", "mark")


@pytest.fixture
def store(tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        yield opened


@pytest.fixture
def run_id(store):
    records = [drawn_record(tick) for tick in range(0, 2400, 3)]
    records[5] = drawn_record(15, channel0_cdeg=NO_READING_CDEG, channel1_cdeg=-525)
    records[6] = drawn_record(18, touch=messages.OFFSET, touch_source=2, offset_cdeg=-150)
    return store_run(store, records)


@pytest.fixture
def files(store, run_id, tmp_path):
    """Return a path for each form, written."""
    need_python_module("pyarrow", "pip install 'emberbed[parquet]'")
    paths = {form: tmp_path / f"run.{form}" for form in export.FORMS}
    for form, write in ((export.CSV, export.write_csv), (export.JSON, export.write_json)):
        with paths[form].open("w", encoding="utf-8", newline="") as stream:
            write(store, run_id, stream)
    export.write_parquet(store, run_id, paths[export.PARQUET])
    return paths


def check(columns, store, run_id):
    """Compare columns (lists by name, None for nothing) with the records of the store."""
    records = list(store.records(run_id))
    assert columns["tick"] == [record.tick for record in records]
    assert columns["energy_j"] == [record.energy_j for record in records]
    assert columns["edge_c"][5] == -5.25 and columns["top_near_chip_c"][5] is None
    for column, channel in (("top_near_chip_c", 0), ("edge_c", 1)):
        known = [record.channel_cdeg(channel) for record in records]
        assert columns[column] == [None if cdeg is None else cdeg / 100 for cdeg in known]
    assert columns["offset_c"][6] == -1.5 and columns["touch"][6] == "OFFSET"
    assert columns["touch"][5] is None and set(columns["rebuilt"]) == {0}
    assert columns["state"][0] == "RUN"


PANDAS = {"csv": "read_csv", "json": "read_json", "parquet": "read_parquet"}


@pytest.mark.parametrize("form", export.FORMS)
def test_pandas_reads_it_in_two_lines(files, store, run_id, form):
    need_python_module("pandas", "pip install -e '.[test]'")
    import pandas

    frame = getattr(pandas, PANDAS[form])(files[form])
    numbers = [name for name in frame.columns if name not in TEXT]
    assert all(pandas.api.types.is_numeric_dtype(frame[name]) for name in numbers)
    plain = frame.astype(object).where(frame.notna(), None)
    check({name: list(plain[name]) for name in frame.columns}, store, run_id)


@pytest.mark.parametrize("form", export.FORMS)
def test_polars_reads_it_in_two_lines(files, store, run_id, form):
    need_python_module("polars", "pip install -e '.[test]'")
    import polars

    read = {"csv": polars.read_csv, "json": polars.read_json, "parquet": polars.read_parquet}[form]
    frame = read(files[form], infer_schema_length=None) if form != "parquet" else read(files[form])
    check({name: frame[name].to_list() for name in frame.columns}, store, run_id)


def test_every_form_has_the_same_cells(files):
    import pyarrow.parquet

    rows = json.loads(files["json"].read_text(encoding="utf-8"))
    assert pyarrow.parquet.read_table(files["parquet"]).to_pylist() == rows
    head, *lines = files["csv"].read_text(encoding="utf-8").splitlines()
    assert head.split(",") == list(rows[0]) and len(lines) == len(rows)
    for line, row in zip(lines, rows, strict=True):
        for cell, (name, value) in zip(line.split(","), row.items(), strict=True):
            assert cell == "" if value is None else (cell == value or float(cell) == value), name


def test_a_run_without_records_is_an_empty_table(store, tmp_path):
    run_id = store_run(store, [])
    with (tmp_path / "run.json").open("w") as stream:
        export.write_json(store, run_id, stream)
    assert json.loads((tmp_path / "run.json").read_text()) == []
    need_python_module("pyarrow", "pip install 'emberbed[parquet]'")
    import pyarrow.parquet

    export.write_parquet(store, run_id, tmp_path / "run.parquet")
    assert pyarrow.parquet.read_table(tmp_path / "run.parquet").num_rows == 0


def test_rebuilt_readings_are_marked(store, tmp_path):
    run_id = store_run(store, [drawn_record(tick) for tick in range(20)], end=None)
    store.append(run_id, [drawn_record(tick) for tick in range(20, 25)], rebuilt=True)
    store.append(run_id, [drawn_record(tick) for tick in range(25, 30)])
    for _packed in range(2):
        with (tmp_path / "run.json").open("w") as stream:
            export.write_json(store, run_id, stream)
        rows = json.loads((tmp_path / "run.json").read_text())
        assert [row["tick"] for row in rows if row["rebuilt"]] == list(range(20, 25))
        if store.run(run_id).state == "open":
            store.end_run(run_id, "finished", 0)
    assert store.audit(run_id) == []
