"""A right profile as text, with one part at a time replaced; what tests change and read back."""

import pytest

from emberbed.profiles.reader import ProfileFile, ProfileMistakes, parse_profile

HEAD = """name = "Bench label printer"
alloy = "SAC305"
laminate = "FR-4 Tg 150"
board = { mass_g = 240, length_mm = 180, width_mm = 120 }
[sensors]
top_near_chip = "control"
edge = "edge"
"""
RAMP = '[[stages]]\nkind = "ramp"\nto_c = 88\nrate_c_per_s = 0.6\n'
HOLD = '[[stages]]\nkind = "hold"\nfor_s = 120\n'
WAIT = '[[stages]]\nkind = "wait"\nprompt = "Apply flux"\nlongest_s = 300\n'
SOAK = '[[stages]]\nkind = "ramp"\nto_c = 140\nrate_c_per_s = 0.4\n'
COOL = '[[stages]]\nkind = "cool"\nbelow_c = 50\nfastest_c_per_s = 2\n'
GOOD = HEAD + RAMP + HOLD + WAIT + SOAK + COOL
GOOD_LINES = GOOD.count("\n")

NAMES = ["top_near_chip", "edge", "", "", "", "", "", ""]
CEILINGS_CDEG = [20000, 20000, 0, 0, 0, 0, 0, 0]


def read(text: str) -> ProfileFile:
    return parse_profile(text.encode(), "p.toml")


def changed(old: str, new: str) -> str:
    """Return GOOD with its first `old` replaced."""
    assert old in GOOD
    return GOOD.replace(old, new, 1)


def mistakes(text: str | bytes) -> list[str]:
    """Return the sentences with which a text is refused."""
    raw = text if isinstance(text, bytes) else text.encode()
    with pytest.raises(ProfileMistakes) as refused:
        parse_profile(raw, "p.toml")
    return refused.value.sentences


def line_of(text: str, part: str) -> int:
    """Return the line of the first `part` in `text`, by plain counting."""
    return text[: text.index(part)].count("\n") + 1
