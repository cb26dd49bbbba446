"""Find the firmware that recorded a run, by its fingerprint: installed here, or kept in the store.

A store may come from anywhere, and what it keeps is a program: it is run only where a person says
that the store is their own. Nothing is ever run because its fingerprint fits alone.
"""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from emberbed import firmware_sources
from emberbed.plain_text import printable
from emberbed.store.kept_firmware import kept
from emberbed.store.run_store import RunStore
from emberbed.store.runs import StoredRun

SHOWN = 16  # digits of a fingerprint in a sentence


class CannotReplay(Exception):
    """This run cannot be replayed here; one sentence."""


@contextmanager
def firmware_of(store: RunStore, run: StoredRun, own_store: bool) -> Iterator[Path]:
    """Give the folder that holds the package of the run's firmware. Raises CannotReplay."""
    if firmware_sources.matches(run.firmware_digest, firmware_sources.installed_digest()):
        yield firmware_sources.firmware_folder().parent
        return
    sources = kept(store.database, run.firmware_digest)
    if sources is None or not own_store:
        raise CannotReplay(_needs(run, is_kept=sources is not None))
    with tempfile.TemporaryDirectory(prefix="emberbed-") as folder:
        for name, content in sources.items():
            path = Path(folder, firmware_sources.PACKAGE, name)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        yield Path(folder)


def _needs(run: StoredRun, is_kept: bool) -> str:
    told = printable(run.firmware_digest[:SHOWN])
    needs = (
        f"Run {run.id} cannot be replayed with the firmware installed here: it needs version"
        f" {printable(run.firmware_version)} with the fingerprint {told}"
    )
    if is_kept:
        return (
            f"{needs}. This store keeps it: if the store was made by you alone, add"
            " --kept-firmware and it is run from there"
        )
    return f"{needs}; install the emberbed that recorded the run"
