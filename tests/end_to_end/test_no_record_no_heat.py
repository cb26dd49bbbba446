"""No record, no heat: a disk that is full, or takes nothing, ends the heat and the command says so.

The device is a process of its own here, so that it can be asked afterwards what became of its heat.
The full disk is a small one in memory that the test fills (Linux, and the right to mount one); the
other way, for everyone on POSIX, is a limit on how large a file the command may write.
"""

import json
import resource
import subprocess
import sys
import time
from contextlib import contextmanager

import pytest

from emberbed.bench.outcome import EXIT_LINK_LOST, EXIT_REFUSED
from emberbed.link.device import Device
from emberbed.link.events import Record
from emberbed.records import decode_record
from emberbed_fw import record as layout
from emberbed_fw import run_states as rs
from tests.support.command import COMMAND, environment, finish, stored
from tests.support.parts import need

SIZE_MB = 64
LIMIT_BYTES = 2_500_000  # of the log beside the store, some 100 commits after the heat begins
PRESS = "Hold the button on the device"
HEATING = "Stage 1 of"
LONGEST_S = 60


@pytest.fixture(autouse=True)
def posix():
    need("a POSIX system", sys.platform != "win32", "disks are mounted and processes limited")


@pytest.fixture
def disk(tmp_path):
    """Return a function that gives the folder of a small disk of its own, mounted so."""
    mounted = []

    def mount(options):
        folder = tmp_path / "disk"
        folder.mkdir(exist_ok=True)
        command = ["mount", "-t", "tmpfs", "-o", options, "emberbed-test", str(folder)]
        try:
            done = subprocess.run(command, capture_output=True, text=True).returncode == 0
        except OSError:
            done = False
        need("a disk that can be mounted", done, "run as root on Linux")
        mounted.append(folder)
        return folder

    yield mount
    for folder in mounted:
        subprocess.run(["umount", "-l", str(folder)], check=True)


@contextmanager
def virtual_device():
    """Give a device of its own at 50 times real time: (its address, its hands)."""
    process = subprocess.Popen(
        [sys.executable, "-m", "emberbed_sim.virtual_device", "--speed", "50"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        yield json.loads(process.stdout.readline())["url"], process.stdin
    finally:
        process.stdin.close()
        process.wait(20)
        process.stdout.close()


@contextmanager
def running(profile, store, url, limit_bytes=None):
    """Give the command while it runs a profile; its lines come in `said`."""

    def limited():
        if limit_bytes is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, limit_bytes))

    words = ("run", profile, "--device", url, "--store", store)
    process = subprocess.Popen(
        [*COMMAND, *map(str, words)], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT, env=environment(PYTHONUNBUFFERED="1"), preexec_fn=limited,
        text=True,
    )  # fmt: skip
    try:
        yield process
    finally:
        process.kill()
        process.wait()
        process.stdout.close()


def until(process, wanted):
    said = []
    for line in process.stdout:
        said.append(line)
        if wanted in line:
            return said
    raise AssertionError("".join(said))


def heat_now(url):
    """Ask the device, as the next host would, what it does: its state, and whether it heats."""
    with Device.connect(url) as device:
        end_s = time.monotonic() + 20
        while time.monotonic() < end_s:
            for event in device.poll(1.0):
                if isinstance(event, Record):
                    record = decode_record(event.raw)
                    return record.state, record.driven_zones, record.outputs & layout.OUT_CONTACTOR
    raise AssertionError("the device says nothing any more")


def ended(process):
    rest = process.stdout.read()
    assert process.wait(LONGEST_S) == EXIT_LINK_LOST, rest
    assert "Traceback" not in rest
    return rest


def check_off(url, store):
    state, driven, contactor = heat_now(url)
    assert state not in rs.HEATING_STATES and (driven, contactor) == (0, 0)
    tape = stored(store)
    assert tape.audit == [] and tape.gaps == 0
    assert any(record.driven_zones for record in tape.records), "it had heated before"
    return tape


def test_a_disk_that_becomes_full_ends_the_heat(disk, long_profile):
    folder = disk(f"size={SIZE_MB}m")
    store, ballast = folder / "runs.sqlite", folder / "ballast"
    with virtual_device() as (url, hands), running(long_profile, store, url) as command:
        until(command, PRESS)
        print("hold 1.5", file=hands, flush=True)
        until(command, HEATING)
        with pytest.raises(OSError, match="No space"), ballast.open("wb", buffering=0) as stream:
            while stream.write(bytes(4096)):
                pass
        said = ended(command)
        assert f"{store} cannot grow, the disk is full; free some space, then try again" in said
        assert "heat was switched off" in said and "may still be hot" in said
        ballast.unlink()
        check_off(url, store)


def test_a_file_that_may_not_grow_ends_the_heat(long_profile, tmp_path):
    store = tmp_path / "runs.sqlite"
    with (
        virtual_device() as (url, hands),
        running(long_profile, store, url, LIMIT_BYTES) as command,
    ):
        until(command, PRESS)
        print("hold 1.5", file=hands, flush=True)
        until(command, HEATING)
        said = ended(command)
        assert f"{store} cannot" in said and "heat was switched off" in said
        check_off(url, store)


def test_a_disk_that_takes_nothing_is_refused_before_anything_heats(disk, long_profile):
    folder = disk("size=1m,ro")
    done = finish("run", long_profile, "--press", "--store", folder / "runs.sqlite")
    assert done.exit_code == EXIT_REFUSED
    assert len(done.errors.splitlines()) == 1 and "--store" in done.errors


def test_too_little_room_for_the_longest_run_is_refused_before_anything_heats(disk, long_profile):
    folder = disk("size=20m")
    done = finish("run", long_profile, "--press", "--store", folder / "runs.sqlite")
    assert done.exit_code == EXIT_REFUSED
    (sentence,) = done.errors.splitlines()
    assert "MiB free" in sentence and "name a file on another disk with --store" in sentence
