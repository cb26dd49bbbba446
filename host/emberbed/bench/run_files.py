"""Where a run's page goes; found out before any heat, written after the run.

A page that cannot be written is a reason not to start, and later no reason to lose the verdict.
Only the default folder is ever made: a folder with a slip in its name is refused.
"""

from pathlib import Path

from emberbed.bench.prepare import NotReady
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore


def default_folder(store: RunStore) -> Path:
    """Return the folder of the pages: beside the store."""
    return store.path.parent / "pages"


def page_path(wanted: Path | None, store: RunStore, run_id: int) -> Path:
    """Return where the page of a run goes."""
    return wanted or default_folder(store) / f"run-{run_id}.html"


def make_default_folder(wanted: Path | None, store: RunStore) -> None:
    """Make the folder of the pages if the page goes there. Raises OSError."""
    if wanted is None:
        default_folder(store).mkdir(parents=True, exist_ok=True)


def check_page(wanted: Path | None, store: RunStore) -> None:
    """Raise NotReady when the page could not be written to its place."""
    probe = wanted or default_folder(store) / "writable.tmp"
    try:
        make_default_folder(wanted, store)
        was_there = probe.exists()
        with probe.open("a"):
            pass
        if not was_there:
            probe.unlink()
    except OSError as error:
        raise NotReady(
            [
                f"The run's page cannot be written to {probe if wanted else probe.parent}"
                f" ({error.strerror}): name another file with --page"
            ]
        ) from None


def write_page(store: RunStore, run_id: int, page: Path) -> str | None:
    """Write the page; return why that failed in one sentence, None when it is there."""
    from emberbed.report.run_page import write_run_page  # matplotlib: only when it is needed

    try:
        if page.parent == default_folder(store):
            make_default_folder(None, store)
        write_run_page(store, run_id, page)
    except OSError as error:
        return f"{page} cannot be written ({error.strerror}); name another file for the run page"
    except StoreError as error:
        return str(error)
    return None
