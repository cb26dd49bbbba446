"""A community repair bench's jobs for tests and pictures: label printers and weather loggers.

Stored like any other: real runs of drawn records (tests/host/store/synthetic_run.py), photographs
that are drawn, answers, parts, tests. Everything is told here, so that tests can count it again.
"""

from dataclasses import dataclass
from pathlib import Path

from PIL import Image, ImageDraw

from emberbed.jobs import model
from emberbed.jobs.book import JobBook
from emberbed.jobs.checklists import checklists
from emberbed.jobs.prices import CURRENCY, HOUR, KWH, set_prices
from emberbed.store.run_store import RunStore
from tests.host.store.synthetic_run import PROFILE, drawn_record, store_run

PRINTER, LOGGER = "Label printer, main board", "Weather logger"
PRINTER_PROFILE = PROFILE.replace("mass_g = 45", "mass_g = 240")
RUN_TICKS = 1500
RUN_ENERGY_J = 37 * (RUN_TICKS - 1)  # of the drawn run
LOG = "timestamp,Chip [°C],case_c\n" + "".join(
    f"2026-03-01T14:{minute:02d}:00,{25 + 2 * minute},{24 + minute}\n" for minute in range(20)
)


@dataclass(frozen=True)
class Done:
    """One job of the demonstration."""

    board: str
    serial: str
    fault: str
    outcome: str
    runs: int
    minutes: int | None = None
    worth: str | None = None
    part: tuple[str, int, str | None] | None = None


JOBS = (
    Done(PRINTER, "LP-0412", "blank labels", model.WORKS, 1, 50, "120", ("ball kit", 1, "6.40")),
    Done(PRINTER, "LP-0533", "3.3 V shorted", model.WORKS, 2, 75, "120", ("memory", 2, "4.10")),
    Done(PRINTER, "LP-0127", "hangs when warm", model.FAILS, 1, 40, "120"),
    Done(LOGGER, "WL-31", "loose sensor socket", model.WORKS, 1, 25, "35"),
    Done(LOGGER, "WL-07", "no radio", model.PARTLY, 1, 30, "35", ("radio module", 1, None)),
    Done(LOGGER, "WL-90", "water inside", model.NOT_TRIED, 0, 10, "35"),
)


def draw_photo(path: Path, words: str) -> Path:
    """Write a picture that says what would be on the photograph."""
    image = Image.new("RGB", (640, 400), "#1d4030")
    pen = ImageDraw.Draw(image)
    pen.rectangle((220, 120, 420, 280), fill="#222222")
    pen.text((20, 20), words, fill="white")
    image.save(path)
    return path


def fill(store: RunStore, folder: Path, simulated: bool = False) -> list[int]:
    """Store all JOBS and one that is open; return their numbers. `folder` takes made files."""
    book = JobBook(store)
    set_prices(store.database, {KWH: "0.32", HOUR: "24", CURRENCY: "EUR"})
    return [_store(store, book, done, folder, simulated) for done in JOBS] + [
        book.new(PRINTER, serial="LP-0412", fault="blank labels again")
    ]


def _store(store: RunStore, book: JobBook, done: Done, folder: Path, simulated: bool) -> int:
    told = {"minutes": str(done.minutes), "worth": done.worth}
    job_id = book.new(done.board, serial=done.serial, fault=done.fault, **told)
    records = [drawn_record(tick) for tick in range(RUN_TICKS)]
    for _each in range(done.runs):
        heavy = {"profile_toml": PRINTER_PROFILE, "profile_name": f"{PRINTER}, lead-free"}
        changes = heavy if done.board == PRINTER else {}
        book.join_run(job_id, store_run(store, records, simulated=simulated, **changes))
    if done.part:
        book.add_part(job_id, *done.part)
    for kind in (model.BEFORE, model.AFTER):
        photo = draw_photo(folder / f"{done.serial}-{kind}.png", f"{done.serial} {kind}")
        book.add_photo(job_id, photo, kind)
    if done.outcome != model.NOT_TRIED:
        lists = checklists(store.path.parent)
        for name, known in lists.items():
            book.answer(job_id, name, [(item, "yes") for item in known.items])
        log = folder / f"{done.serial}.csv"
        log.write_text(LOG, encoding="utf-8")
        book.add_test(job_id, model.LOAD, done.outcome == model.WORKS, "", "20", log)
    book.close(job_id, done.outcome)
    return job_id
