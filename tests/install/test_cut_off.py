"""An installation that is cut off: at every single change of the flash, and in its middle."""

import subprocess
import sys
import time
from pathlib import Path

import pytest

from emberbed.firmware_sources import TOLD_BYTES, digest_of
from emberbed.install.failure import InstallError
from emberbed.install.installer import Wanted, install
from emberbed.install.into_service import greeting_of
from tests.install.board import BLOCKS, Board
from tests.install.conftest import another_version

STARTER = Path(__file__).with_name("boot_prefixes.py")
SAFE_WITHOUT_FIRMWARE = {"unformatted", "prompt", "none"}  # no pin is ever set


def builds_after_each_change(image: Path, journal: Path) -> list[str]:
    """Return what starts after each change of the flash, torn and whole, in order."""
    command = [
        sys.executable, "-m", "micropython_unix", "-X", "heapsize=32M", str(STARTER), str(image),
        str(journal), str(BLOCKS),
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, timeout=500)
    assert "Traceback" not in done.stdout + done.stderr, (done.stdout + done.stderr)[-2000:]
    return done.stdout.split()


def steps_of(seen: list[str]) -> list[str]:
    """Return what was seen, without repetitions."""
    return [now for before, now in zip(["", *seen], seen, strict=False) if now != before]


def told_build(sources):
    return digest_of(sources)[:TOLD_BYTES].hex()


def test_every_change_leaves_the_old_version_or_the_new_one(tmp_path, wanted, sources, told):
    newer = another_version(sources)
    with Board(tmp_path) as board:
        empty = tmp_path / "empty.img"
        empty.write_bytes(board.image.read_bytes())
        install(board.port, wanted, told.append)
        first_journal = tmp_path / "first.bin"
        first_journal.write_bytes(board.journal.read_bytes())
        before = tmp_path / "before.img"
        before.write_bytes(board.image.read_bytes())
        install(board.port, Wanted(newer), told.append)
        second_journal = tmp_path / "second.bin"
        second_journal.write_bytes(board.journal.read_bytes()[first_journal.stat().st_size :])
    first = builds_after_each_change(empty, first_journal)
    assert len(first) > 300
    nothing, whole = steps_of(first)[:-1], steps_of(first)[-1]
    assert set(nothing) <= SAFE_WITHOUT_FIRMWARE and whole == told_build(sources)
    second = builds_after_each_change(before, second_journal)
    assert len(second) > 300
    assert "service" in second
    running = [build for build in second if build != "service"]
    assert steps_of(running) == [told_build(sources), told_build(newer)]


@pytest.mark.parametrize("changes", [30, 250, 480])
def test_cable_pulled_and_power_lost_while_copying(tmp_path, wanted, sources, told, changes):
    """With the real tool at the other end: one sentence, and the old version when power is back."""
    newer = another_version(sources)
    with Board(tmp_path) as board:
        install(board.port, wanted, told.append)
        time.sleep(0.5)
    with Board(tmp_path, broken_after=changes) as board:
        with pytest.raises(InstallError) as reason:
            install(board.port, Wanted(newer), told.append)
        assert board.port in str(reason.value) and "\n" not in str(reason.value)
        assert not board.powered
        board.power_cycle()
        assert greeting_of(board.port).build_id.hex() == told_build(sources)
        assert install(board.port, Wanted(newer), told.append).runs_the_new_one
