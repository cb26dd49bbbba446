"""What leaves the page as a file: a run's report as PDF, its sheet for the customer, its numbers.

Written by the same code as on the command line, in a folder of its own that is gone afterwards.
Called in a helper process. Raises NotReady, StoreError.
"""

from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory

from emberbed.bench.prepare import NotReady
from emberbed.store import export
from emberbed.store.run_store import RunStore

HTML, PDF = "html", "pdf"


def numbers(store: Path | None, run_id: int, form: str) -> str:
    """Return a run as CSV or JSON."""
    write = export.write_csv if form == export.CSV else export.write_json
    with RunStore.open(store, create=False) as opened:
        stream = StringIO(newline="")
        write(opened, opened.run(run_id).id, stream)
        return stream.getvalue()


def report_pdf(store: Path | None, run_id: int) -> bytes:
    """Return a run's report, one A4 page."""
    from emberbed.report.run_report import write_run_report  # matplotlib: only when it is needed

    with RunStore.open(store, create=False) as opened, TemporaryDirectory() as folder:
        path = Path(folder) / "report.pdf"
        write_run_report(opened, opened.run(run_id).id, path)
        return path.read_bytes()


def bundle(store: Path | None, run_id: int) -> bytes:
    """Return a run as a bundle, with its job."""
    from emberbed.bundle.layout import BundleError
    from emberbed.bundle.write import write_bundle
    from emberbed.bundle.write_job import job_for

    with RunStore.open(store, create=False) as opened, TemporaryDirectory() as folder:
        path = Path(folder) / "run.zip"
        try:
            write_bundle(opened, opened.run(run_id), path, job_for(opened, run_id))
        except BundleError as error:
            raise NotReady([str(error)]) from None
        return path.read_bytes()


def chart_png(store: Path | None, run_id: int) -> bytes:
    """Return a run's chart as a picture."""
    from emberbed.report.picture import run_png  # matplotlib: only when it is needed

    with RunStore.open(store, create=False) as opened:
        return run_png(opened, opened.run(run_id).id)


def sheet(store: Path | None, run_id: int, form: str, shop: str, board: str) -> bytes:
    """Return the customer's sheet; board and photographs are its job's where nothing is said."""
    from emberbed.jobs.for_sheet import sheet_facts
    from emberbed.report.customer_sheet import Job, NotEnded, write_sheet
    from emberbed.report.photos import PhotoError, read_photo

    with RunStore.open(store, create=False) as opened, TemporaryDirectory() as folder:
        run = opened.run(run_id)
        known = sheet_facts(opened, run.id)
        path = Path(folder) / f"sheet.{form}"
        try:
            first, last = (
                None if one is None else read_photo(one) for one in (known.before, known.after)
            )
            others = tuple(sorted(set(known.others) - {run.id}))
            write_sheet(opened, run.id, Job(shop, board or known.board, first, last, others), path)
        except (NotEnded, PhotoError) as error:
            raise NotReady([str(error)]) from None
        return path.read_bytes()
