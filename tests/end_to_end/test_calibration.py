"""A couple that reads wrong is calibrated on a device, reads right, and its runs tell of it.

The device is a process with the real interpreter, reached over loopback as a real one is; ice,
water and a dry block are put to its bead by the bench's hands.
"""

from statistics import fmean

import pytest
from typer.testing import CliRunner

from emberbed.bench.prepare import read_description
from emberbed.bench.touch_test import resting_records
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.calibration import fixed_points, guided, history, on_device
from emberbed.calibration.budget import budget_of
from emberbed.calibration.known import read_sentence
from emberbed.cli import app
from emberbed.link.device import Device
from emberbed.report.run_view import view_of
from emberbed.store.run_store import RunStore
from emberbed.store.runs import utc_now
from tests.support.command import Started

EDGE = 1
WRONG_K, WRONG_GAIN = 2.0, 1.01
PROVED_C = (0.0, 50.0, 99.325, 150.0, 217.0, 230.0)


class BenchHands:
    """What a person does who is asked for a bath."""

    def __init__(self, virtual):
        self._virtual = virtual
        self.asked = []

    def put(self, channel, reference, what):
        self.asked.append(what)
        bath = "ice" if reference.name == "ice" else f"boiling {reference.station_kpa}"
        self._virtual.dip(channel, bath)


@pytest.fixture
def places(tmp_path, monkeypatch):
    monkeypatch.setenv("EMBERBED_STORE", str(tmp_path / "runs.sqlite"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))  # of a command that is a process
    monkeypatch.setenv(history.VARIABLE, str(tmp_path / "calibrations.jsonl"))
    return tmp_path


@pytest.fixture
def virtual(places):
    with VirtualDevice(VirtualBench(speed="max")) as virtual:
        yield virtual


def calibrate(virtual):
    with Device.connect(virtual.url) as device:
        couple = guided.couple_on(device, "edge")
        boiling = fixed_points.boiling(990.0, None, None)
        hands = BenchHands(virtual)
        points = guided.measure(couple, [fixed_points.ice(), boiling], hands, lambda _line: None)
        done = guided.set_line(couple, points, "Mila", write=True, bath=boiling)
        assert ["ice" in hands.asked[0], "rolling boil" in hands.asked[1]] == [True, True]
        return done, proved(virtual, device)


def proved(virtual, device):
    """Return what edge reads in a dry block of each temperature, after a minute there."""
    read = {}
    for at_c in PROVED_C:
        virtual.dip(EDGE, f"block {at_c}")
        records = list(resting_records(device, 700))
        read[at_c] = fmean(one.channel_cdeg(EDGE) / 100 for one in records[-100:])
    virtual.dip(EDGE, "none")
    list(resting_records(device, 900))  # as cold as the board again
    return read


def test_calibrated_it_reads_right_within_its_stated_uncertainty(virtual):
    virtual.misread(EDGE, WRONG_K, WRONG_GAIN)
    with Device.connect(virtual.url) as device:
        bare = proved(virtual, device)
    assert bare[217.0] == pytest.approx(217 * WRONG_GAIN + WRONG_K, abs=0.4)  # 4 K off
    done, read = calibrate(virtual)
    assert done.written and abs(done.entry.check_k) < 0.2
    for at_c, shown_c in read.items():
        made = budget_of(at_c, "MAX31855K", done.entry.known(), contact_share=0.0)
        assert abs(shown_c - at_c) <= made.expanded_k, (at_c, shown_c, made.expanded_k)
        assert made.expanded_k < budget_of(at_c, "MAX31855K", contact_share=0.0).expanded_k
        assert abs(shown_c - at_c) < 0.6, "this couple is wrong by a line alone"


def run_on(virtual, store):
    """Run a minute of gentle heat as on any device at a port; return what was said."""
    given = ("--hold", "45", "--for", "30s", "--device", virtual.url, "--store", store)
    with Started("run", *given) as run:
        run.until("Hold the button")
        virtual.hold_button()
        assert run.end() == 0, run.said
        return run.said


def test_a_run_s_record_tells_of_the_calibration_and_warns_when_it_is_old(virtual, places):
    virtual.misread(EDGE, WRONG_K, WRONG_GAIN)
    entry = calibrate(virtual)[0].entry
    assert history.entries() == [entry] and entry.by == "Mila"
    said = run_on(virtual, places / "runs.sqlite")
    assert "over a year old" not in said
    with RunStore.open(places / "runs.sqlite") as store:
        view = view_of(store, 1)
        assert view.calibrated == {"edge": read_sentence(entry.known().sentence())}
        assert view.device.channels[EDGE].offset_cdeg == entry.line.offset_cdeg
    words = ["sensor", "budget", "edge", "--at", "120", "--device", virtual.url]
    budget = CliRunner().invoke(app, words).stdout
    made = budget_of(120.0, "MAX31855K", entry.known())
    assert f"edge at 120 °C: ± {made.expanded_k:.1f} °C" in budget
    assert entry.known().sentence() in " ".join(budget.split())
    words = ["sensor", "calibrate", "edge", "--from", "none.csv", "--device", virtual.url]
    refused = CliRunner().invoke(app, words)
    assert refused.exit_code == 2 and "is not idle (finished)" in refused.stderr
    make_old(entry)
    with Device.connect(virtual.url) as device:
        told = on_device.run_words(device, *read_description(device))
    assert [one.warns for one in told] == [False, True]
    assert "edge was over a year old" in told[1].sentence
    listed = CliRunner().invoke(app, ["sensor", "list", "--device", virtual.url])
    assert "over a year old" in listed.stderr and "edge was calibrated on" in listed.stdout
    history.default_path().unlink()
    listed = CliRunner().invoke(app, ["sensor", "list", "--device", virtual.url])
    assert "edge has a calibration that is not in this computer's history" in listed.stdout


def make_old(entry):
    year = int(utc_now()[:4]) - 2
    text = history.default_path().read_text(encoding="utf-8")
    old = text.replace(entry.when_utc[:4], str(year), 1)
    history.default_path().write_text(old, encoding="utf-8")


def test_a_bead_taken_out_too_early_brings_the_old_settings_back(virtual):
    with Device.connect(virtual.url) as device:
        before = device.read_settings()
        couple = guided.couple_on(device, "edge")
        boiling = fixed_points.boiling(990.0, None, None)
        virtual.misread(EDGE, WRONG_K, WRONG_GAIN)
        hands = BenchHands(virtual)
        points = guided.measure(couple, [fixed_points.ice(), boiling], hands, lambda _line: None)
        virtual.dip(EDGE, "block 96")  # it hangs in the steam
        with pytest.raises(guided.NotReady, match="so the old calibration is back"):
            guided.set_line(couple, points, "", write=True, bath=boiling)
        assert device.read_settings() == before
    assert history.entries() == []
