"""Small profiles for tests, as text."""

HEAD = """name = "Weather logger, sensor daughter board"
alloy = "Sn63Pb37"
laminate = "FR-4 Tg 135"
board = { mass_g = 60, length_mm = 100, width_mm = 70 }
[sensors]
top_near_chip = "control"
edge = "edge"
"""
COOL = """[[stages]]
kind = "cool"
below_c = 50
fastest_c_per_s = 2.0
"""
PROMPT = "Clean the pads"


def hold_profile(for_s: int = 60, to_c: int = 60, prompt: str = "") -> str:
    """Up to `to_c`, hold it for `for_s`, ask `prompt` if there is one, cool."""
    stages = f"""[[stages]]
kind = "ramp"
to_c = {to_c}
rate_c_per_s = 0.3
longest_s = 480
[[stages]]
kind = "hold"
for_s = {for_s}
"""
    asks = f'[[stages]]\nkind = "wait"\nprompt = "{prompt}"\nlongest_s = 300\n' if prompt else ""
    return HEAD + stages + asks + COOL
