"""Photographs: by content, upright, small, and with nothing of the file but what is to be seen."""

import struct
import zlib

import pytest
from PIL import Image

from emberbed.report import photos
from emberbed.report.photos import LONGEST_EDGE, PhotoError, read_photo

GPS = 0x8825  # Exif 2.3, table 4: the tag of the GPS directory
ORIENTATION = 0x0112  # Exif 2.3, 4.6.4: 6 is "row 0 is the right side": turn it by 90 degrees


def saved(path, size=(1600, 800), mode="RGB", colour="#204030", **options):
    Image.new(mode, size, colour).save(path, **options)
    return path


@pytest.mark.parametrize("form", ["PNG", "JPEG"])
def test_a_photograph_is_scaled_whatever_its_name(tmp_path, form):
    photo = read_photo(saved(tmp_path / "board.txt", format=form))
    assert (photo.width, photo.height) == (LONGEST_EDGE, LONGEST_EDGE // 2)
    assert photo.jpeg[:3] == b"\xff\xd8\xff"  # ISO/IEC 10918-1: start of image, first marker
    red, green, blue = photo.image().getpixel((100, 100))
    assert abs(red - 0x20) + abs(green - 0x40) + abs(blue - 0x30) < 12


def test_a_small_one_stays_small(tmp_path):
    photo = read_photo(saved(tmp_path / "small.png", size=(40, 30)))
    assert (photo.width, photo.height) == (40, 30)


def test_where_it_was_taken_stays_here_and_it_stands_upright(tmp_path):
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    exif.get_ifd(GPS)[1] = "N"
    path = saved(tmp_path / "a.jpg", size=(400, 100), exif=exif, comment=b"mine alone")
    photo = read_photo(path)
    assert (photo.width, photo.height) == (100, 400)
    assert b"Exif" not in photo.jpeg and b"mine alone" not in photo.jpeg


def test_what_one_can_see_through_becomes_white(tmp_path):
    photo = read_photo(saved(tmp_path / "a.png", size=(50, 50), mode="RGBA", colour=(9, 9, 9, 0)))
    assert photo.image().getpixel((25, 25)) == (255, 255, 255)


def test_odd_kinds_of_pictures(tmp_path):
    for mode, form in (
        ("1", "PNG"),
        ("P", "PNG"),
        ("LA", "PNG"),
        ("I;16", "PNG"),
        ("CMYK", "JPEG"),
    ):
        photo = read_photo(saved(tmp_path / "odd", (30, 20), mode, None, format=form))
        assert (photo.width, photo.height) == (30, 20), mode


def bomb():
    """Return a PNG of a few bytes that says it has 40,000 x 40,000 pixels (PNG 1.2, 11.2.2)."""
    header = b"IHDR" + struct.pack(">IIBBBBB", 40_000, 40_000, 8, 0, 0, 0, 0)
    chunk = struct.pack(">I", 13) + header + struct.pack(">I", zlib.crc32(header))
    return b"\x89PNG\r\n\x1a\n" + chunk + struct.pack(">I", 0) + b"IDAT" + struct.pack(">I", 0)


def test_what_is_no_photograph(tmp_path, monkeypatch):
    gif, cut, huge, text = (tmp_path / name for name in ("a.jpg", "cut.jpg", "huge.png", "t.png"))
    saved(gif, format="GIF")
    whole = saved(tmp_path / "whole.jpg").read_bytes()
    cut.write_bytes(whole[: len(whole) // 2])
    huge.write_bytes(bomb())
    text.write_text("<svg onload=alert(1)>")
    for path, said in (
        (gif, "no PNG or JPEG"),
        (text, "no PNG or JPEG"),
        (cut, "damaged"),
        (huge, "pixels"),
        (tmp_path, "cannot be read"),
        (tmp_path / "none.png", "cannot be read"),
    ):
        with pytest.raises(PhotoError, match=said) as told:
            read_photo(path)
        assert str(path) in str(told.value)
    monkeypatch.setattr(photos, "MOST_FILE_BYTES", 100)
    with pytest.raises(PhotoError, match="larger than"):
        read_photo(tmp_path / "whole.jpg")
