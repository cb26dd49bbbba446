"""`identify` with input that cannot be: one sentence, exit 2, and no long work before it."""

import numpy as np
import pytest

from emberbed import cli_step_test
from emberbed.bench.outcome import OUTCOMES
from emberbed.bench.session import RunResult
from emberbed_fw import run_states as rs
from tests.host.heater.test_csv_checks import BOARD_C, POWER_W, SECONDS


@pytest.fixture
def step(tmp_path):
    """Return a function that writes step.csv."""

    def write(seconds=SECONDS, drive=POWER_W, celsius=BOARD_C, head="time_s,power_w,temperature_c"):
        rows = [f"{s:g},{d:g},{c:g}" for s, d, c in zip(seconds, drive, celsius, strict=True)]
        (tmp_path / "step.csv").write_text("\n".join([head, *rows]) + "\n")

    return write


READ = ("identify", "--from", "step.csv")


def test_what_the_data_lack(refused, step):
    kept = np.r_[0:50, 60:200]
    step(SECONDS[kept], POWER_W[kept], BOARD_C[kept])
    assert refused(*READ).startswith("step.csv:52: the time jumps from 98 to 120 s")
    step(head="time_s,power_w,length_mm")
    assert refused(*READ).startswith("step.csv:1: no column holds the temperature")
    step(drive=np.full(200, 500.0))
    assert "record a step up and a step down" in refused(*READ)
    step(celsius=np.minimum(BOARD_C, 90.0))
    assert "at the end of its range or stuck" in refused(*READ)
    step(celsius=np.where(SECONDS == 100, np.nan, BOARD_C))
    assert refused(*READ).startswith("step.csv:52: temperature_c is nan")
    step(SECONDS[:10], POWER_W[:10], BOARD_C[:10])
    assert "there are 10 rows and 30 are needed" in refused(*READ)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--watts", "-5"], "--watts -5 is out of range: give a number above 0"),
        (["--watts", "nan"], "--watts nan is out of range: give a number above 0"),
        (["--fit-until", "0"], "--fit-until 0 is out of range: give a number above 0"),
        (["--full-drive", "inf"], "--full-drive inf is out of range: give a number above 0"),
        (["--room", "80"], "--room 80 is no room temperature: give one from 0 to 45 °C"),
        (["--fit-until", "20"], "step.csv: only 10 rows lie before --fit-until 20; the file runs"),
        (["--watts", "500"], "step.csv:13: power_w is 600 and full power is 500; give the larger"),
        (["--sensor", "edge"], "step.csv:1: there is no column edge; the columns are"),
        (["--out", "no/where.toml"], "no"),
        (["--picture", "."], ". cannot be written (it is a folder): name a file with --picture"),
    ],
)
def test_options_that_cannot_be(refused, step, words, sentence):
    step()
    assert refused(*READ, *words).startswith(sentence)


def test_no_such_file(refused):
    assert refused(*READ).startswith("step.csv cannot be read (")


DEVICE = ("--device", "virtual")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ([], "Nothing to identify: name a file with --from, or make a step test with --device"),
        ([*READ[1:], *DEVICE], "--from and --device are two sources: leave one of them out"),
        ([*DEVICE], "A step test needs the °C at which heat goes off: add --limit"),
        ([*DEVICE, "--limit", "59"], "--limit 59 is out of range: give 60 to 235 °C"),
        ([*DEVICE, "--limit", "nan"], "--limit nan is out of range"),
        (
            [*DEVICE, "--limit", "100", "--percent", "61"],
            "--percent 61 is out of range: give",
        ),
        ([*DEVICE, "--limit", "100", "--fit-until", "9"], "--fit-until belongs to --from: leave"),
        ([*DEVICE, "--limit", "100", "--sensor", "edge"], "--sensor belongs to --from: leave it"),
        ([*DEVICE, "--limit", "100", "--laminate", "oak"], '--alloy or --laminate: laminate "oak"'),
        ([*READ[1:], "--press"], "--press belongs to --device: leave it out"),
        ([*READ[1:], "--limit", "100"], "--limit belongs to --device: leave it out"),
        ([*DEVICE, "--limit", "100", "--speed", "0"], "--speed 0 is out of range"),
        (["--device", "COM9", "--limit", "100", "--press"], "--press only works on the virtual"),
    ],
)
def test_sources_that_cannot_be(refused, words, sentence):
    assert refused("identify", *words).startswith(sentence)


def test_a_limit_that_is_too_hot_for_the_board(refused, tmp_path):
    """Tg 150 °C of the laminate less 25 °C of stored heat; refused by the device's own check."""
    told = refused(
        "identify", *DEVICE, "--limit", "125", "--laminate", "FR-4 Tg 150", "--alloy", "SAC305",
        "--press", "--speed", "max", "--store", tmp_path / "runs.sqlite",
    )  # fmt: skip
    assert told.startswith("Step test up to 125 °C:") and "write less than 125 °C" in told


@pytest.mark.parametrize(("verdict", "exit_code"), [(rs.TRIPPED, 3), (rs.STOPPED, 4)])
def test_a_run_that_does_not_finish_keeps_its_exit_code(
    heater_command, tmp_path, monkeypatch, verdict, exit_code
):
    ended = RunResult(7, OUTCOMES[verdict], 0, tmp_path / "run-7.html", None, ["It ended."])
    monkeypatch.setattr(cli_step_test, "run_asked", lambda *_arguments: ended)
    told = heater_command("identify", *DEVICE, "--limit", "100", "--press", "--out", "h.toml")
    assert told.exit_code == exit_code
    assert "Run 7 is stored" in told.stdout and "It ended." in told.stdout
    assert not (tmp_path / "h.toml").exists()
