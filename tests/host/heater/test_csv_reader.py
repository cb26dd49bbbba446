"""Tables in whatever spelling give the same numbers; what cannot be read is one sentence."""

import hashlib

import pytest

from emberbed.heater.csv_reader import TableMistake, read_measured
from emberbed.heater.step_data import DRIVE, PERCENT, SWITCHED, WATTS

ROWS = ((0.0, 0.0, 22.5), (2.0, 400.0, 22.75), (4.0, 400.0, 23.5))


def table(head, separator=",", comma=False, rows=ROWS):
    lines = [head, *(separator.join(f"{number:g}" for number in row) for row in rows)]
    text = "\n".join(lines) + "\n"
    return text.replace(".", ",") if comma else text


def read(tmp_path, text, sensor=None):
    path = tmp_path / "step.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_measured(path, sensor)


def mistake(tmp_path, text, sensor=None):
    with pytest.raises(TableMistake) as told:
        read(tmp_path, text, sensor)
    sentence = str(told.value).replace(str(tmp_path / "step.csv"), "step.csv")
    assert "\n" not in sentence
    return sentence


@pytest.mark.parametrize(
    "text",
    [
        table("time_s,power_w,temperature_c"),
        table("\ufeffTime [s];Power (W);Temperature [°C]", ";", comma=True),
        table("t\tWatts\tTemp", "\t"),
        table("time  power  temperature", "  "),
        table('"time_s","power_w","temperature_c"'),
        "# a note\n\n" + table("Time / s,Power / W,Temperature / °C").replace("\n", "\r\n"),
        table("time_ms,power_w,temp_c", rows=[(1000 * t, p, c) for t, p, c in ROWS]),
        table("time_min;power_w;temp_c", ";", rows=[(t / 60, p, c) for t, p, c in ROWS]),
    ],
)
def test_spellings(tmp_path, text):
    found = read(tmp_path, text)
    assert found.seconds == pytest.approx([row[0] for row in ROWS], abs=1e-4)
    assert list(found.drive) == [0, 400, 400]
    assert list(found.temperature_c) == [22.5, 22.75, 23.5]
    assert found.kind == WATTS
    assert found.sha256 == hashlib.sha256((tmp_path / "step.csv").read_bytes()).hexdigest()


@pytest.mark.parametrize(
    ("column", "kind"),
    [("power_w", WATTS), ("demand_percent", PERCENT), ("Power [%]", PERCENT), ("driven", SWITCHED),
     ("drive", DRIVE), ("u", DRIVE), ("voltage_v", DRIVE)],
)  # fmt: skip
def test_kinds_of_drive(tmp_path, column, kind):
    assert read(tmp_path, table(f"time_s,{column},temperature_c")).kind == kind


EXPORTED = "tick,elapsed_s,state,setpoint_c,top_near_chip_c,edge_c,demand_percent,driven,fan\n" + (
    "1,0.0,RUN,,23.00,22.5,10.0,1,0\n2,0.1,RUN,23.00,23.25,22.75,10.0,0,1\n"
)


def test_an_exported_run(tmp_path):
    found = read(tmp_path, EXPORTED, "edge")
    assert (found.kind, found.temperature_column) == (SWITCHED, "edge_c")
    assert list(found.temperature_c) == [22.5, 22.75]
    assert (list(found.drive), list(found.fan)) == ([1, 0], [0, 1])
    assert list(found.lines) == [2, 3]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (EXPORTED, "step.csv:1: choose the temperature with --sensor: top_near_chip_c, edge_c"),
        ("", "step.csv: the file is empty; the first line must name the columns, such as"),
        ("0 9 129\n2 9 129\n", "step.csv:1: no column has a name; the first line must name"),
        (table("time_s,power_w"), "step.csv:1: no column holds the temperature; name one temperat"),
        (table("when,power_w,temperature_c"), "step.csv:1: no column holds the time; name one tim"),
        (table("time_s,amount,temperature_c"), "step.csv:1: no column holds the power or drive;"),
        (table("time_s,power_w,temp_f"), "step.csv:1: temp_f is in Fahrenheit; write degrees Cels"),
        (table("time_s,time_s,power_w,temp_c"), "step.csv:1: two columns are called time_s; drop"),
        (b"time_s,power_w,temp_c\n0,0,\xff\n", "step.csv:2: this is not UTF-8 text; save it as"),
        ("time_s,power_w,temp_c\n0,0,22\n2,0\n", "step.csv:3: there are 2 fields under 3 column"),
        ("time_s,power_w,temp_c\n0,0,22\n2,0,\n", "step.csv:3: nothing stands under temp_c; leave"),
        ("time_s,power_w,temp_c\n0,0,hot\n", 'step.csv:2: "hot" is no number under temp_c; leave'),
        ("time_s,power_w,temp_c\n0,0,nan\n", "step.csv:2: temp_c is nan; leave such rows out"),
        ("time_s,power_w,temp_c\n0,inf,22\n", "step.csv:2: power_w is inf; leave such rows out"),
    ],
)
def test_mistakes(tmp_path, text, sentence):
    assert mistake(tmp_path, text).startswith(sentence)


def test_a_misspelt_sensor(tmp_path):
    assert mistake(tmp_path, EXPORTED, "egde") == (
        'step.csv:1: there is no column egde; did you mean "edge_c"?'
    )


@pytest.mark.parametrize("name", ["nowhere.csv", "", "a\0b"])
def test_no_such_file(tmp_path, name):
    with pytest.raises(TableMistake, match="cannot be read .*; name a CSV file"):
        read_measured(tmp_path / name)
