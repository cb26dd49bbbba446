"""A photograph from a file, made fit for a sheet: PNG or JPEG by content, turned upright, scaled.

It is drawn anew as a JPEG, so that nothing else of the file (place, camera, hidden data) goes out
with the sheet. Raises PhotoError, one sentence naming the file and the mend.
"""

import warnings
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from PIL import Image, ImageOps, UnidentifiedImageError

MOST_FILE_BYTES = 20 * 1024 * 1024
MOST_PIXELS = 60_000_000  # more than a telephone's camera has
LONGEST_EDGE = 900  # pixels: about 260 to the inch in half the width of A4
QUALITY = 85  # of the JPEG
FORMATS = ("PNG", "JPEG")


class PhotoError(Exception):
    """A photograph that cannot be used."""


@dataclass(frozen=True)
class Photo:
    """A JPEG with its size in pixels."""

    jpeg: bytes
    width: int
    height: int

    def image(self) -> Image.Image:
        return Image.open(BytesIO(self.jpeg), formats=("JPEG",))


def read_photo(path: Path) -> Photo:
    """Read the photograph in `path`."""
    return photo_of(photo_bytes(path), path)


def photo_of(octets: bytes, path: Path) -> Photo:
    """Return the photograph in the bytes of a file; `path` is for the sentences."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of odd metadata, which is dropped
            return _made_fit(path, octets)
    except UnidentifiedImageError:
        raise PhotoError(f"{path} is no PNG or JPEG: name a photograph of one of these") from None
    except Image.DecompressionBombError:
        raise _too_many_pixels(path) from None
    except (OSError, ValueError, SyntaxError):
        raise PhotoError(f"{path} is a damaged photograph: save it anew, or name another") from None


def photo_bytes(path: Path) -> bytes:
    """Return the bytes of a file that may be a photograph, as they are."""
    try:
        with path.open("rb") as stream:
            octets = stream.read(MOST_FILE_BYTES + 1)
    except OSError as error:
        raise PhotoError(
            f"{path} cannot be read ({error.strerror}): name another photograph"
        ) from None
    if len(octets) > MOST_FILE_BYTES:
        raise PhotoError(
            f"{path} is larger than {MOST_FILE_BYTES // 2**20} MiB: save the photograph smaller"
        )
    return octets


def _made_fit(path: Path, octets: bytes) -> Photo:
    with Image.open(BytesIO(octets), formats=FORMATS) as opened:
        if opened.width * opened.height > MOST_PIXELS:
            raise _too_many_pixels(path)
        opened.draft("RGB", (LONGEST_EDGE, LONGEST_EDGE))  # a JPEG need not be unpacked whole
        upright = ImageOps.exif_transpose(opened)
        upright.thumbnail((LONGEST_EDGE, LONGEST_EDGE))
        stream = BytesIO()
        plain = _on_white(upright)
        plain.info.clear()  # a comment, say
        plain.save(stream, "JPEG", quality=QUALITY)
    return Photo(stream.getvalue(), plain.width, plain.height)


def _too_many_pixels(path: Path) -> PhotoError:
    most = MOST_PIXELS // 1_000_000
    return PhotoError(f"{path} has more than {most} million pixels: save the photograph smaller")


def _on_white(image: Image.Image) -> Image.Image:
    if not image.has_transparency_data:
        return image.convert("RGB")
    white = Image.new("RGBA", image.size, "white")
    white.alpha_composite(image.convert("RGBA"))
    return white.convert("RGB")
