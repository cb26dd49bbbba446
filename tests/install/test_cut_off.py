"""An installation that is cut off: at every single change of the flash, and in its middle."""

import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import pytest

from emberbed.firmware_sources import TOLD_BYTES, digest_of
from emberbed.install.failure import InstallError
from emberbed.install.installer import Wanted, install
from emberbed.install.into_service import greeting_of
from tests.install.board import BLOCKS, FLASH, Board
from tests.install.conftest import another_version, wiring_for
from tests.support.plans import bench_settings

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


class Update(NamedTuple):
    """A board's flash before anything, with one version, and all that changed on the way to it and
    to the next."""

    empty: Path
    before: Path
    first: Path  # journals, as board.py writes them
    second: Path
    changes: int  # of the second


@pytest.fixture(scope="module")
def update(tmp_path_factory, sources) -> Update:
    folder = tmp_path_factory.mktemp("update")
    paths = [folder / name for name in ("empty.img", "before.img", "first.bin", "second.bin")]
    empty, before, first, second = paths
    with Board(folder) as board:
        empty.write_bytes(board.image.read_bytes())
        install(board.port, Wanted(sources, bench_settings(has=0), wiring_for()), [].append)
        before_changes = len(board.changes())
        first.write_bytes(board.journal.read_bytes())
        before.write_bytes(board.image.read_bytes())
        install(board.port, Wanted(another_version(sources)), [].append)
        second.write_bytes(board.journal.read_bytes()[first.stat().st_size :])
        return Update(*paths, len(board.changes()) - before_changes)


def test_every_change_leaves_the_old_version_or_the_new_one(update, sources):
    newer = another_version(sources)
    first = builds_after_each_change(update.empty, update.first)
    assert len(first) > 300
    nothing, whole = steps_of(first)[:-1], steps_of(first)[-1]
    assert set(nothing) <= SAFE_WITHOUT_FIRMWARE and whole == told_build(sources)
    second = builds_after_each_change(update.before, update.second)
    assert len(second) > 300
    assert "service" in second
    running = [build for build in second if build != "service"]
    assert steps_of(running) == [told_build(sources), told_build(newer)]


@pytest.mark.parametrize("share", [0.06, 0.5, 0.9])
def test_cable_pulled_and_power_lost_while_copying(tmp_path, update, sources, told, share):
    """With the real tool at the other end: one sentence, and the old version when power is back."""
    newer = another_version(sources)
    (tmp_path / FLASH).write_bytes(update.before.read_bytes())
    with Board(tmp_path, broken_after=round(share * update.changes)) as board:
        with pytest.raises(InstallError) as reason:
            install(board.port, Wanted(newer), told.append)
        assert board.port in str(reason.value) and "\n" not in str(reason.value)
        assert not board.powered
        board.power_cycle()
        assert greeting_of(board.port).build_id.hex() == told_build(sources)
        assert install(board.port, Wanted(newer), told.append).runs_the_new_one
