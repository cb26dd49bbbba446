"""A person's own materials: beside the book, judged like its rows, mistakes with place and mend."""

import pytest

from emberbed.materials import book
from emberbed.materials.own_book import OwnBookFault, own_path, own_shelves
from emberbed.materials.rows import SHELVES, STATUSES
from emberbed.materials.shown import as_json, in_full, rows_called
from emberbed.profiles.check import check_profile
from tests.host.profiles.profile_texts import GOOD, changed, mistakes, read

MINE = """
[alloys."Bench paste"]
solidus_c = 217
liquidus_c = 219
source = "its own sheet, 2025"
[laminates.Polyimide]
tg_c = 250
source = "its own sheet"
[fluxes.tacky]
active_from_c = 110
soak_from_c = 140
soak_longest_s = 100
source = "its own sheet"
[neighbours.relay]
limit_c = 90
source = "its own sheet"
"""


@pytest.fixture
def own(tmp_path, monkeypatch):
    path = tmp_path / "mine.toml"
    monkeypatch.setenv("EMBERBED_MATERIALS", str(path))

    def write(text):
        path.write_text(text, encoding="utf-8")
        return path

    return write


def test_every_figure_of_the_book_has_a_source_and_a_status():
    for shelf, rows in book.shipped_shelves().items():
        assert rows
        for row in as_json([(shelf, row) for row in rows.values()]):
            assert row["figures"]
            for figure in row["figures"].values():
                assert figure["source"] and figure["status"] in STATUSES[:-1]


def test_decomposition_and_minutes_at_heat_as_published():
    # internationalcircuits.com/materials (IPC-4101C table 2): Td 305 and T260 10 min for the
    # standard grade, at least 325 and 30 min for the middle one, T288 at least 5 min
    low, mid = (book.find_laminate(f"FR-4 Tg {tg}") for tg in (135, 150))
    assert low.td and low.t260 and mid.td and mid.t260 and mid.t288
    assert (low.td.value, low.t260.value) == (305, 10)
    assert (mid.td.value, mid.t260.value, mid.t288.value) == (325, 30, 5)


def test_own_rows_are_found_and_marked(own):
    own(MINE)
    assert book.find_alloy("Bench paste").liquidus_c == 219
    assert book.find_alloy("Bench paste").status == "yours"
    assert book.find_laminate("Polyimide").tg_c == 250
    assert book.find_flux("tacky").soak_longest_s == 100
    assert list(book.neighbours())[-1] == "relay"
    assert in_full(rows_called("relay")[0][1])[1].endswith("its own sheet (yours)")
    text = changed('"FR-4 Tg 150"', '"Polyimide"')
    assert [f.severity for f in check_profile(read(text))] == ["note"]


def test_a_changed_file_is_read_again(own):
    path = own(MINE)
    assert "relay" in book.neighbours()
    path.write_text(MINE.replace("relay", "display"), encoding="utf-8")
    assert "display" in book.neighbours()


def test_without_a_file_the_book_is_as_shipped(own):
    assert not own_path().exists()
    assert book.shelves() == book.shipped_shelves()


BAD = [
    ("[alloys.x]\nsolidus_c = 217\nliquidus_c = 200\nsource = 's'", "liquidus_c = 200 is below"),
    ("[alloys.x]\nsolidus_c = 217\nsource = 's'", "alloy x: the key liquidus_c is missing"),
    ("[alloys.x]\nsolidus_c = 'a'\nliquidus_c = 220\nsource = 's'", "is not a number from 60"),
    ("[alloys.x]\nsolidus_c = 2170\nliquidus_c = 2200\nsource = 's'", "is not a number from 60"),
    ("[alloys.x]\nsolidus_c = 217\nliquidus_c = 220", "it has no source"),
    ("[alloys.SAC305]\nsolidus_c = 1\nliquidus_c = 2\nsource = 's'", "in the book already"),
    ("[alloys.x]\nsolidus = 1", '"solidus" is not known here; did you mean "solidus_c"'),
    ("[alloy.x]\nsolidus_c = 1", '"alloy" is not known here; did you mean "alloys"'),
    ("[laminates.x]\ntg_c = 5\nsource = 's'", "laminate x: tg_c = 5 is not a number from 60"),
    ("[neighbours]\nrelay = 90", "neighbour relay: this is no table"),
    ("[alloys.x", "this is no TOML"),
]


@pytest.mark.parametrize(("text", "said"), BAD)
def test_a_bad_file_is_one_sentence_with_its_place(own, text, said):
    path = own(text)
    with pytest.raises(OwnBookFault) as fault:
        own_shelves(book.shipped_shelves())
    assert str(fault.value).startswith(str(path)) and said in str(fault.value)
    assert "\n" not in str(fault.value)


def test_a_bad_file_hurts_no_profile_that_does_not_need_it(own):
    own("[alloys.x")
    assert [f.severity for f in check_profile(read(GOOD))] == ["note"]
    assert list(book.alloys()) == list(book.shipped_shelves()["alloys"])
    (sentence,) = mistakes(changed('"SAC305"', '"Bench paste"'))
    assert "your own additions cannot be read" in sentence


def test_the_shelves_are_those_of_the_book():
    assert set(book.shipped_shelves()) == set(SHELVES)
