"""What has to be so before heat, and the photographs of where the sensors lay."""

import json
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from emberbed.jobs.placements import last_placement
from emberbed.page.before_heat import ITEMS
from emberbed.page.security import MOST_BODY_BYTES, MOST_PHOTO_BYTES
from emberbed.store.run_store import RunStore
from tests.page.conftest import Asking

GPS = "51.4778 N"  # stands for what a telephone writes into a photograph
ORIENTATION, DESCRIPTION, ROTATED = 0x0112, 0x010E, 6  # Exif 2.32 tags, and "turn right"


def jpeg(width=400, height=300):
    """A photograph as a telephone makes it: turned by a tag, with a text hidden in it."""
    exif = Image.Exif()
    exif[ORIENTATION], exif[DESCRIPTION] = ROTATED, GPS
    stream = BytesIO()
    Image.new("RGB", (width, height), "navy").save(stream, "JPEG", exif=exif)
    return stream.getvalue()


def last(client, board="printer"):
    return json.loads(client.get(f"/api/before-heat?board={board}")[2])


def sentences(answer):
    said = json.loads(answer[2])
    return " ".join(said.get("sentences", [said.get("sentence", "")]))


def kept(tmp_path, board="printer") -> Path:
    with RunStore.open(tmp_path / "runs.sqlite") as store:
        return last_placement(store, board).photo


def test_the_questions_are_those_that_the_bench_record_asks_before_each_run():
    assert list(ITEMS) == ["batteries", "plastics", "sensors", "flat", "extraction"]


def test_a_new_type_of_board_has_nothing(client):
    assert last(client) is None
    answer = client.get("/api/before-heat/photo?board=printer")
    assert answer[0] == 409 and "no photograph" in sentences(answer)


def test_a_photograph_is_kept_upright_and_without_what_hides_in_it(client, tmp_path):
    assert client.send_photo(jpeg(), note="left of the chip")[0] == 202
    said = last(client)
    assert (said["note"], said["photo"]) == ("left of the chip", True)
    status, headers, octets = client.get("/api/before-heat/photo?board=PRINTER")
    assert (status, headers["content-type"]) == (200, "image/jpeg")
    for found in (octets, kept(tmp_path).read_bytes()):
        with Image.open(BytesIO(found)) as image:
            assert image.size == (300, 400), "turned upright"
            assert not image.getexif()
        assert GPS.encode() not in found


def test_a_png_is_taken_too(client, tmp_path):
    stream = BytesIO()
    Image.new("RGBA", (50, 40), (0, 0, 0, 0)).save(stream, "PNG")
    assert client.send_photo(stream.getvalue(), kind="image/png")[0] == 202
    assert kept(tmp_path).suffix == ".jpg"


@pytest.mark.parametrize(
    ("octets", "told"),
    [
        (b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>", "is no PNG or JPEG"),
        (jpeg()[:300], "damaged"),
        (b"", "is no PNG or JPEG"),
        (jpeg(20000, 4000), "million pixels"),
    ],
)
def test_what_is_no_photograph_is_told_and_nothing_is_kept(client, octets, told):
    answer = client.send_photo(octets)
    assert answer[0] == 409
    assert told in sentences(answer) and "This photograph" in sentences(answer)
    assert last(client) is None


@pytest.mark.parametrize(
    ("changed", "status"),
    [
        ({"kind": "image/svg+xml"}, 415),
        ({"kind": "application/json"}, 415),
        ({"Content_Length": str(MOST_PHOTO_BYTES + 1)}, 413),
        ({"Origin": "http://elsewhere.example"}, 403),
        ({"Origin": None}, 403),
        ({"X_Emberbed_Token": None}, 401),
        ({"X_Emberbed_Token": "0" * 32}, 401),
    ],
)
def test_a_photograph_comes_in_by_the_same_door_as_everything(client, changed, status):
    answer = client.send_photo(jpeg(), **changed)
    assert answer[0] == status and sentences(answer)


def test_only_photographs_may_be_large(client):
    body = {"name": "x", "text": "#" * MOST_BODY_BYTES}
    assert client.post("/api/check", body)[0] == 413
    assert client.ask("POST", "/api/check", jpeg(), client.headers(Content_Type="image/jpeg"))[
        0
    ] == 415  # fmt: skip


@pytest.mark.parametrize(
    ("board", "note"), [("", ""), ("x" * 200, ""), ("tab\x07bell", ""), ("printer", "y" * 600)]
)
def test_a_name_or_note_that_cannot_be_kept_is_told(client, board, note):
    answer = client.send_photo(jpeg(), board=board, note=note)
    assert answer[0] == 409 and "characters of plain text" in sentences(answer)


def test_a_tablet_that_watches_takes_and_sees_none(serving):
    bench = serving(share="127.0.0.2")
    assert bench.send_photo(jpeg())[0] == 202
    tablet = Asking(bench.server, "127.0.0.2")
    token = json.loads(tablet.post("/api/pair", {"code": bench.server.sharing.code})[2])["token"]
    tablet.token = token
    assert tablet.send_photo(jpeg())[0] == 403
    assert tablet.get("/api/before-heat/photo?board=printer")[0] == 403
