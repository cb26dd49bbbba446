"""`emberbed device selftest`, `settings` and `install` as a person types them."""

import json
import struct
import time
from dataclasses import replace
from zlib import crc32

import pytest

from emberbed.bench.prepare import read_description
from emberbed.bench.virtual import VirtualBench, VirtualDevice
from emberbed.install.self_test import ChannelTest, SelfTest
from emberbed.install.write_settings import write_settings
from emberbed.link.device import Device, Refused
from emberbed_fw import record
from emberbed_fw import settings as layout
from emberbed_fw.self_sums import self_sums
from tests.install.board import Board
from tests.support.plans import bench_settings

EXAMPLE = "host/emberbed/device_file/example.toml"


def last_line(result):
    return result.stderr.strip().splitlines()[-1]


def test_selftest_of_a_sound_device(emberbed):
    said = json.loads(emberbed("selftest", "--json").stdout)
    assert said["fine"] and said["doubts"] == []
    assert [row["name"] for row in said["channels"]] == ["top_near_chip", "edge"]
    assert all(15 < row["reading_c"] < 35 for row in said["channels"])
    assert said["free_bytes"] > 0  # the real interpreter tells


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("tc_open@0s", "The thermocouple of the sensor top_near_chip (channel 0) is open"),
        ("bus_dead@0s", "does not answer"),
        ("button_stuck@0s", "The button is held or stuck"),
    ],
)
def test_selftest_names_what_is_wrong(emberbed, fault, words):
    result = emberbed("selftest", "--fault", fault)
    assert result.exit_code == 2 and words in result.stderr
    assert "fine" not in result.stdout


@pytest.mark.parametrize(
    ("flag", "words"),
    [
        (record.PORT_CONTACTOR_CLOSED, "The second switch is closed although nothing asks for it"),
        (record.PORT_HEAT_CURRENT, "Heater current flows although nothing heats"),
        (record.PORT_BUS_ERROR, "The converters' bus fails"),
    ],
)
def test_senses_that_contradict_a_bench_at_rest(flag, words):
    bead = ChannelTest(0, "bead", 0, 2300, 2325)
    sound = SelfTest([bead], 0, 0, self_sums(), 0, 50_000)
    assert sound.doubts() == [] and sound.notes() == []
    assert [words in doubt for doubt in replace(sound, port_flags=flag).doubts()] == [True]


def test_sums_memory_and_cold_junctions_that_are_not_as_they_must_be():
    bead = ChannelTest(0, "bead", 0, 2300, 2325)
    sound = SelfTest([bead], 0, 0, self_sums(), 0, 50_000)
    assert "counts otherwise" in replace(sound, sums=(1, 2)).doubts()[0]
    assert "changed in its memory" in replace(sound, memory_faults=1).doubts()[0]
    assert "1000 bytes of memory left" in replace(sound, free_bytes=1000).doubts()[0]
    assert "No channel is fitted" in replace(sound, channels=[]).doubts()[0]
    in_the_heat = replace(bead, cold_cdeg=9000)
    assert "90.0 °C itself" in replace(sound, channels=[in_the_heat]).doubts()[0]
    assert "reads 80.0 °C" in replace(sound, channels=[replace(bead, reading_cdeg=8000)]).notes()[0]


def test_warm_bead_shows_swapped_channels(emberbed):
    assert emberbed("selftest", "--bead", "edge").exit_code == 0
    result = emberbed("selftest", "--bead", "edge", "--fault", "channels_swapped@0s")
    assert result.exit_code == 2
    assert last_line(result) == (
        "The finger on edge warmed top_near_chip (channel 0): the plugs of edge and top_near_chip"
        " are swapped, change them over."
    )
    assert "no channel 'elbow'" in last_line(emberbed("selftest", "--bead", "elbow"))


def test_settings_are_shown(emberbed):
    said = json.loads(emberbed("settings", "--json").stdout)
    assert said["zones"] == [{"zone": 0, "watts": 1000, "dwell_ticks": 2}]
    assert "channel 1: edge, MAX31855K, at most 260 °C" in emberbed("settings").stdout


def test_settings_file_is_written_and_read_back(emberbed):
    said = json.loads(emberbed("settings", "--write", EXAMPLE, "--json").stdout)
    before = json.loads(emberbed("settings", "--json").stdout)  # another virtual device
    assert said["channels"] != before["channels"]


def test_bad_settings_file_is_refused_line_by_line(emberbed, tmp_path):
    bad = tmp_path / "mine.toml"
    bad.write_text('board = "rp2041"\n')
    result = emberbed("settings", "--write", bad)
    assert result.exit_code == 2 and "mine.toml" in result.stderr
    assert emberbed("install", "/dev/null", "--description", bad).exit_code == 2


def test_settings_outside_the_firmware_s_limits_are_refused_by_the_device():
    bad = bytearray(bench_settings())
    struct.pack_into("<h", bad, layout.HEADER_BYTES + 2, 9999)  # an offset of 100 degC
    bad[-4:] = struct.pack("<I", crc32(bytes(bad[:-4])))
    with VirtualDevice(VirtualBench()) as virtual, Device.connect(virtual.url) as device:
        before = device.read_settings()
        with pytest.raises(Refused, match="does not accept these settings"):
            write_settings(device, bytes(bad))
        assert read_description(device)[0] == before


def test_install_by_command(emberbed, tmp_path):
    with Board(tmp_path) as board:
        result = emberbed("install", board.port, "--description", EXAMPLE, "--json")
        assert result.exit_code == 0, result.stderr
        said = json.loads(result.stdout)
        assert said["as_wanted"] and said["port"] == board.port
        # nothing pulls the example's mirror contact down here
        result = emberbed("install", board.port, "--back")
        assert result.exit_code == 2 and "with --unplugged" in last_line(result)
        for _try in range(10):  # it has tripped for that, and watches a cooling first
            result = emberbed("install", board.port, "--back", "--unplugged")
            assert result.exit_code == 2
            if "a cooling or a trip" not in last_line(result):
                break
            time.sleep(2)
        assert last_line(result).startswith("There is no version before on the board at")
        info = json.loads(emberbed("info", "--device", board.port, "--json").stdout)
        assert info["fingerprint"] == said["fingerprint"]


@pytest.mark.parametrize(
    ("port", "words"),
    [
        ("virtual", "The virtual device always runs the firmware of this emberbed: give the port"),
        ("/dev/ttyNOWHERE", "There is no port /dev/ttyNOWHERE here"),
        ("/dev/null", "/dev/null cannot be opened"),
    ],
)
def test_ports_that_cannot_be(emberbed, port, words):
    result = emberbed("install", port)
    assert result.exit_code == 2 and last_line(result).startswith(words)


@pytest.mark.parametrize(
    ("example", "kind"), [("example.toml", "rp2040"), ("example-esp32-s3.toml", "esp32-s3")]
)
def test_description_is_tried_without_a_board(emberbed, example, kind):
    path = f"host/emberbed/device_file/{example}"
    said = json.loads(emberbed("install", "virtual", "--description", path, "--json").stdout)
    assert (said["board"], said["installed"]) == (kind, False)
    assert 10 <= said["files"] <= 30 and 60_000 < said["flash_bytes"] < 200_000
    result = emberbed("install", "virtual", "--description", path)
    words = " ".join(result.stdout.split())
    assert result.exit_code == 0 and f"is good for an installation on {kind}:" in words
    assert "Nothing was installed" in words


def test_bad_description_is_refused_without_a_board(emberbed, tmp_path):
    bad = tmp_path / "mine.toml"
    bad.write_text('board = "rp2041"\n')
    result = emberbed("install", "virtual", "--description", bad)
    assert result.exit_code == 2 and "mine.toml" in result.stderr
