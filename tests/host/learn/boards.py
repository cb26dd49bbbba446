"""Runs on the simulated bench with a board of any mass: the firmware's own, whole, made once."""

from functools import cache

from emberbed.learn.board_fit import learn
from emberbed.learn.on_the_job import HELD_TICKS
from emberbed.learn.seen import seen_of
from emberbed.profiles.compile import decode_plan
from emberbed.profiles.reader import parse_profile
from emberbed.rehearse import rehearse
from tests.host.learn.true_heater import true_heater

CONTROL = 0  # channel of top_near_chip
FIRST_HOLD = 1
PROFILE = """name = "Label printer main board"
alloy = "SAC305"
laminate = "FR-4 Tg 150"
board = {{ mass_g = {mass_g}, length_mm = 180, width_mm = 120 }}
[sensors]
top_near_chip = "control"
edge = "edge"
[[stages]]
kind = "ramp"
to_c = 87
rate_c_per_s = 0.3
longest_s = 480
[[stages]]
kind = "hold"
for_s = 60
[[stages]]
kind = "wait"
prompt = "Apply flux along two sides of the chip"
longest_s = 600
[[stages]]
kind = "ramp"
to_c = 135
rate_c_per_s = {rate}
longest_s = {longest_s}
[[stages]]
kind = "hold"
for_s = 120
[[stages]]
kind = "cool"
below_c = 50
fastest_c_per_s = 2.0
"""
FEASIBLE = (0.3, 300)  # degC/s and longest time of the second ramp
TOO_FAST = (1.0, 60)


def profile_text(mass_g, rate=0.3, longest_s=300):
    return PROFILE.format(mass_g=mass_g, rate=rate, longest_s=longest_s)


@cache
def ran(mass_g, rate=0.3, longest_s=300):
    """Return (records, plan) of a whole run."""
    text = profile_text(mass_g, rate, longest_s)
    done = rehearse(parse_profile(text.encode(), "board.toml"), seed=3)
    return done.records, decode_plan(done.prepared.plan)


def before_flux(records):
    """Return the records up to where the host learns."""
    end = next(
        at
        for at, record in enumerate(records)
        if record.stage == FIRST_HOLD and record.stage_elapsed >= HELD_TICKS
    )
    return records[: end + 1]


@cache
def learned(mass_g, rate=0.3, longest_s=300):
    records, _plan = ran(mass_g, rate, longest_s)
    return learn(seen_of(before_flux(records), CONTROL), true_heater())
