"""`emberbed runs sheet`, `runs page --pdf`: what they write, what they refuse."""

import json
import zipfile

import pytest
from PIL import Image

from emberbed.store.run_store import RunStore
from tests.host.cli.test_runs_files import STORE, one_sentence
from tests.host.replay.recorded import open_store, recorded, store_records
from tests.host.report.paper_reader import Pages

SHOP = ("--shop", "Repair bench")


@pytest.fixture
def photo(tmp_path):
    Image.new("RGB", (300, 200), "green").save(tmp_path / "before.png")
    return "before.png"


def test_a_sheet_in_both_forms(emberbed, store, photo, tmp_path):
    store()
    for name in ("sheet.html", "sheet.PDF"):
        said = emberbed("runs", "sheet", "1", *SHOP, "--before", photo, "--to", name, *STORE)
        assert (said.exit_code, said.out.strip(), said.err) == (0, name, "")
    assert "data:image/jpeg" in (tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert "Repair bench" in Pages(tmp_path / "sheet.PDF").text


def test_the_code_matches_the_bundle(emberbed, tmp_path):
    with open_store(tmp_path) as opened:
        opened.end_run(store_records(opened, recorded()), "finished", 0, limits_exceeded=0)
    emberbed("runs", "sheet", *SHOP, "--to", "sheet.pdf", *STORE)
    emberbed("runs", "bundle", "1", "run.zip", *STORE)
    with zipfile.ZipFile(tmp_path / "run.zip") as bundle:
        head = json.loads(bundle.read("run.json"))["run"]["head_sha256"]
    code = f"{head[:4]}-{head[4:8]}-{head[8:12]}"
    assert f"code {code}" in Pages(tmp_path / "sheet.pdf").text
    opened = emberbed("runs", "open", "run.zip", "--store", "other.sqlite")
    shown = emberbed("runs", "show", "--store", "other.sqlite")
    assert f"Code on its sheet: {code}" in opened.out and f"Code on its sheet: {code}" in shown.out


def test_letters_that_paper_lacks_are_told(emberbed, store):
    store()
    said = emberbed("runs", "sheet", "--shop", "修理 bench", "--to", "sheet.pdf", *STORE)
    assert said.exit_code == 0 and "has no letters for 修理: write the sheet as .html" in said.err
    said = emberbed("runs", "sheet", "--shop", "修理 bench", "--to", "sheet.html", *STORE)
    assert said.err == ""


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (("--to", "sheet.doc", *SHOP), ".html or .pdf"),
        (("--to", "none/sheet.pdf", *SHOP), "no such folder"),
        (("--to", "sheet.pdf", "--shop", "  "), "--shop is 1 to 80 characters"),
        (("--to", "sheet.pdf", *SHOP, "--board", "a\x1b[2J"), "--board is 1 to 80 characters"),
        (("--to", "sheet.pdf", *SHOP, "--after", "none.jpg"), "none.jpg cannot be read"),
        (("--to", "sheet.pdf", *SHOP, "--before", "runs.sqlite"), "no PNG or JPEG"),
        (("7", "--to", "sheet.pdf", *SHOP), "no run 7"),
        (("--to", "sheet.pdf", *SHOP, "--earlier", "9"), "no run 9"),
    ],
)
def test_what_is_refused_leaves_nothing(emberbed, store, tmp_path, words, wanted):
    store()
    assert wanted in one_sentence(emberbed("runs", "sheet", *words, *STORE))
    assert not (tmp_path / "sheet.pdf").exists()


def test_a_run_being_recorded_is_refused(emberbed, store, tmp_path):
    store()
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        opened.database.connection.execute("UPDATE run SET state = 'open', ended_utc = NULL")
        opened.database.connection.execute("UPDATE run SET process_node = 'elsewhere'")
    said = emberbed("runs", "sheet", *SHOP, "--to", "sheet.pdf", *STORE)
    assert "still being recorded" in one_sentence(said)


def test_the_report_lies_beside_the_page(emberbed, store, tmp_path):
    store()
    said = emberbed("runs", "page", "1", "--to", "run.html", "--pdf", "run.pdf", *STORE)
    assert (said.exit_code, said.out.split()) == (0, ["run.html", "run.pdf"])
    assert "Run 1:" in Pages(tmp_path / "run.pdf").text and (tmp_path / "run.html").exists()
    said = emberbed("runs", "page", "1", "--to", "r.html", "--pdf", "none/run.pdf", *STORE)
    assert "mend --pdf" in one_sentence(said)
    assert not (tmp_path / "r.html").exists()
