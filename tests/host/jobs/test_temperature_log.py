"""Temperature logs as loggers write them: read with care, peak and mean over time."""

import pytest

from emberbed.jobs.temperature_log import read_log
from emberbed.text_table import TableMistake


def log_of(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "log.csv"
    path.write_bytes(text.encode(encoding))
    octets, log = read_log(path)
    assert octets == path.read_bytes()
    return log


def figures(log):
    return [(one.name, one.peak_c, round(one.mean_c, 6), one.readings) for one in log["columns"]]


def test_peak_and_mean_are_over_time_not_over_rows(tmp_path):
    # by hand: 20 for 10 s, then up to 60 within 1 s, then 60 for 9 s: (200 + 40 + 540) / 20
    log = log_of(tmp_path, "time_s,chip_c\n0,20\n10,20\n11,60\n12,60\n13,60\n20,60\n")
    assert figures(log) == [("chip_c", 60.0, 39.0, 6)]
    assert (log["rows"], log["seconds"]) == (6, 20.0)


@pytest.mark.parametrize(
    "text",
    [
        "minutes;Chip [°C];humidity\n0;20,5;44\n1;30,5;44\n2;40,5;44\n",
        "# a logger's own head\ntimestamp,chip_c\n2026-03-01T14:00:00,20.5\n"
        "2026-03-01T14:01:00,30.5\n2026-03-01 14:02:00,40.5\n",
        "Time\tchip_c\n2026-03-01T23:59:00+01:00\t20.5\n2026-03-01T23:00:00Z\t30.5\n"
        "2026-03-02T00:01:00+01:00\t40.5\n",
        "\ufefftime_ms,chip_degC\r\n0,20.5\r\n60000,30.5\r\n120000,40.5\r\n",
        "s chip_c\n0 20.5\n60 30.5\n\n120 40.5\n",
    ],
)
def test_the_spellings_of_loggers(tmp_path, text):
    log = log_of(tmp_path, text)
    assert [row[1:] for row in figures(log)] == [(40.5, 30.5, 3)]
    assert log["seconds"] == 120.0


def test_an_open_sensor_is_an_empty_field(tmp_path):
    log = log_of(tmp_path, "time_s,a_c,b_c,setpoint_c\n0,20,,99\n1,,30,99\n2,40,50,99\n")
    assert figures(log) == [("a_c", 40.0, 30.0, 2), ("b_c", 50.0, 40.0, 2)]


def test_a_name_that_a_spreadsheet_would_run_is_only_a_name(tmp_path):
    log = log_of(tmp_path, "time_s,=cmd|calc!A1 _c\n0,20\n1,21\n")
    assert log["columns"][0].name == "=cmd|calc!A1 _c"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "log.csv: the file is empty; the first line must name the columns, such as time_s,"),
        ("time_s,chip_c\n", "a log has 2 rows or more"),
        ("time_s,chip_c\n0,20\n", "a log has 2 rows or more"),
        ("0,20\n1,20\n", "log.csv:1: no column has a name"),
        (
            "time_s,volts\n0,1\n1,1\n",
            "no column holds a temperature (the columns are time_s, volts)",
        ),
        (
            "chip_c,b\n0,1\n1,1\n",
            "log.csv:1: no column holds the time; name it time_s or timestamp",
        ),
        ("time_s,temp_f\n0,70\n1,70\n", "temp_f is in Fahrenheit"),
        ("time_s,chip_c\n0,20\n1,20,3\n", "log.csv:3: there are 3 fields under 2 column names"),
        ("time_s,chip_c\n0,20\n1,hot\n", 'log.csv:3: "hot" is no number under chip_c'),
        ("time_s,chip_c\n0,20\n1,=1+1\n", 'log.csv:3: "=1+1" is no number under chip_c'),
        ("time_s,chip_c\n0,20\n1,nan\n", "log.csv:3: chip_c is nan"),
        (
            "time_s,chip_c\n0,20\n1,1372\n",
            "log.csv:3: chip_c is 1372, and -40 to 600 °C is believed",
        ),
        ("time_s,chip_c\n0,20\n0,21\n", "log.csv:3: the time goes back or stands still"),
        ("time_s,chip_c\n0,\n1,\n", "log.csv:1: chip_c has no reading"),
        ("time_s,chip_c\n,20\n1,20\n", "log.csv:2: nothing stands under time_s"),
        ("timestamp,chip_c\n14:30,20\n14:31,20\n", 'log.csv:2: "14:30" under timestamp is no time'),
        (
            "timestamp,chip_c\n2026-03-01T14:00:00,20\n2026-03-01T14:01:00Z,20\n",
            'log.csv:3: "2026-03-01T14:01:00Z" under timestamp is no time like the others',
        ),
        ("time_s," + ",".join(f"t{n}_c" for n in range(33)) + "\n", "there are 33 sensors"),
    ],
)
def test_each_mistake_is_named_with_its_line(tmp_path, text, sentence):
    with pytest.raises(TableMistake) as refused:
        log_of(tmp_path, text)
    assert sentence in str(refused.value)


def test_what_is_no_text_is_refused(tmp_path):
    with pytest.raises(TableMistake, match="log.csv:2: this is not UTF-8 text"):
        log_of(tmp_path, "time_s,chip_c\n0,20°\n", "latin-1")
    with pytest.raises(TableMistake, match="cannot be read"):
        read_log(tmp_path)
    with pytest.raises(TableMistake, match="cannot be read"):
        read_log(tmp_path / "none.csv")


def test_a_file_too_large_is_refused_unread(tmp_path):
    path = tmp_path / "log.csv"
    with path.open("wb") as stream:
        stream.truncate(21 * 1024 * 1024)
    with pytest.raises(TableMistake, match="over 20 MiB"):
        read_log(path)
