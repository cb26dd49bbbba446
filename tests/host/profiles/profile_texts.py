"""A right profile as text, with one part at a time replaced; what tests change and read back."""

import pytest

from emberbed.profiles.compile import compile_plan
from emberbed.profiles.reader import ProfileFile, ProfileMistakes, parse_profile
from emberbed_fw import settings as device

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
AIR = '[[stages]]\nkind = "hot_air"\n'
SOAK_HOLD = '[[stages]]\nkind = "hold"\nfor_s = 90\n'
POWER = '[[stages]]\nkind = "power"\npercent = 50\nfor_s = 360\nlimit_c = 110\n'
GOOD = HEAD + RAMP + HOLD + WAIT + SOAK + COOL
FULL = """name = "Every key"
alloy = "unknown"
laminate = "FR-4 Tg 170"
board = { mass_g = 240, length_mm = 180, width_mm = 120 }
ceiling_c = 125
flux = "rosin"
standard = "J-STD-020C"
chip = { length_mm = 27, width_mm = 27, thickness_mm = 2.2 }
[sensors]
top_near_chip = { role = "control", side = "underside", shielded = true, limit_c = 200, zone = 0 }
edge = "edge"
chip = { role = "chip_top", limit_c = 235, in_jet = true }
rod = { role = "emitter", limit_c = 240 }
[sensors.cell]
role = "neighbour"
limit_c = 115
pause_c = 105
part = "tin-lead joint"
[sensors.beside]
role = "pair"
partner = "top_near_chip"
[[stages]]
kind = "ramp"
to_c = 88
rate_c_per_s = 0.6
longest_s = 600
band_c = 2
hold_back_c = 9
spread_c = 12
[[stages]]
kind = "hold"
for_s = 120
band_c = 4
needs = ["edge", "beside"]
spread_c = 7
longest_s = 900
[[stages]]
kind = "wait"
prompt = "Apply flux"
longest_s = 300
remind_s = 20
marks = ["flux_on", "note"]
[[stages]]
kind = "ramp"
to_c = 120
rate_c_per_s = 0.4
[[stages]]
kind = "hold"
for_s = 60
[[stages]]
kind = "hot_air"
prompt = "Bring it"
expects = "chip_off"
longest_s = 200
start_within_s = 500
remind_s = 25
tool_w = 700
[[stages]]
kind = "cool"
below_c = 50
fastest_c_per_s = 2
fan = "on_press"
[[accepted]]
what = "rates at stage 1 rate_c_per_s"
of = "00000000"
reason = "Scrap board"
"""
FULL_NAMES = ["top_near_chip", "edge", "chip", "rod", "cell", "beside", "", ""]
WITH_AIR = HEAD + RAMP + HOLD + WAIT + SOAK + SOAK_HOLD + AIR + COOL

NAMES = ["top_near_chip", "edge", "", "", "", "", "", ""]
CEILINGS_CDEG = [20000, 20000, 0, 0, 0, 0, 0, 0]
SENSOR = 'edge = "edge"'
SETTINGS = device.Settings(
    device.pack_settings(0, [(name, 1, 20000, 0, 4096) for name in NAMES[:2]], [(1000, 2)])
)


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


def compiled(text: str = GOOD, **more) -> bytes:
    return compile_plan(read(text).model, NAMES, CEILINGS_CDEG, **more)
