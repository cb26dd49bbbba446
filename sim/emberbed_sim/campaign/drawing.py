"""Draws a bench with its plan from a seed: board, mains, room, noise, profile.

The profiles are the shipped ones with their holds cut short: a fault finds the same phase sooner.
Needs the host's compiler of profiles; `setups.draw` calls it where nobody has drawn before.
"""

import re
from dataclasses import replace
from functools import cache
from importlib.resources import files
from random import Random

from emberbed.device_description import decode_settings
from emberbed.profiles.compile import compile_plan
from emberbed.profiles.guard_model import GuardModel, of_conductances
from emberbed.profiles.model import Profile
from emberbed.profiles.reader import parse_profile
from emberbed_sim.bench_device import NO_SENSES, bench_settings
from emberbed_sim.campaign.setups import (
    ANY_BOARD,
    EDGE,
    HOLD_S,
    KNOWN,
    ONE,
    PAIR,
    WITHOUT,
    Drawn,
    Setup,
)
from emberbed_sim.plant.couplings import lumps_of
from emberbed_sim.plant.parameters import (
    BenchParameters,
    MainsParameters,
    SurroundingsParameters,
    bench_for_board,
    sensor_at,
)

PROFILES = ("label-printer", "weather-logger", "remove-chip", "place-chip")
# of the declared mass: the class of boards that the guard's bounds are made for
LEAST_MASS, MOST_MASS = 0.7, 1.4
MAINS_V, MAINS_SHARE = 230.0, 0.1
ROOM_C = (10.0, 35.0)
NOISE_C = (0.05, 0.3)
SENSOR_LINES = {
    ONE: 'top_near_chip = "control"\n',
    EDGE: 'top_near_chip = "control"\nedge = "edge"\n',
    PAIR: (
        'top_near_chip = "control"\nedge = "edge"\n'
        'beside = { role = "pair", partner = "top_near_chip" }\n'
    ),
}
PLACES = {"top_near_chip": "board_centre", "edge": "board_edge", "beside": "board_centre"}


@cache
def profile_of(name: str, sensors: str, hold_s: int = HOLD_S) -> Profile:
    """Return a shipped profile with short holds and these sensors."""
    text = (files("emberbed.profiles") / "library" / f"{name}.toml").read_text(encoding="utf-8")
    text = re.sub(r"\bfor_s = \d+", f"for_s = {hold_s}", text)
    text = re.sub(r"(?m)^(needs|spread_c) = .*$", "", text)
    text = re.sub(
        r"(?s)\[sensors\].*?(?=\n#|\n\[\[)",
        f"[sensors]\n{SENSOR_LINES[sensors]}",
        text,
        count=1,
    )
    return parse_profile(text.encode(), f"{name}.toml").model


def draw_anew(setup: Setup, seed: int, profile_name: str, hold_s: int) -> Drawn:
    """Draw bench and plan for this seed."""
    random = Random(f"bench {seed}")
    name = profile_name or random.choice(PROFILES)
    profile = profile_of(name, setup.sensors, hold_s)
    declared = profile.board
    assert declared is not None, "shipped profiles declare their board"
    sensors = [sensor_at(sensor, PLACES[sensor]) for sensor in profile.sensors]
    nominal = bench_for_board(declared.mass_g, declared.length_mm, declared.width_mm, sensors)
    mass_g = declared.mass_g * random.uniform(LEAST_MASS, MOST_MASS)
    bench = replace(
        nominal,
        board=replace(nominal.board, mass_g=mass_g),
        mains=MainsParameters(MAINS_V, MAINS_V * random.uniform(1 - MAINS_SHARE, 1 + MAINS_SHARE)),
        surroundings=SurroundingsParameters(room_c=random.uniform(*ROOM_C)),
        noise_c=random.uniform(*NOISE_C),
    )
    settings = _settings(bench, setup)
    return Drawn(bench, _plan(profile, settings, nominal, setup.knowledge), settings, name)


def _settings(bench: BenchParameters, setup: Setup) -> bytes:
    if setup.senses == WITHOUT:
        return bench_settings(bench, NO_SENSES)
    return bench_settings(bench)


def _plan(profile: Profile, settings: bytes, nominal: BenchParameters, knowledge: str) -> bytes:
    if knowledge == ANY_BOARD:
        profile = profile.model_copy(update={"board": None})
    device = decode_settings(settings)
    return compile_plan(
        profile,
        device.channel_names(),
        device.ceilings_cdeg(),
        socket_w=device.socket_watts,
        zone_w=device.zones[0].watts,
        guard_model=identified(nominal) if knowledge == KNOWN else None,
    )


def identified(nominal: BenchParameters) -> GuardModel:
    """Return what identifying the nominal bench would find: its emitters' lumps."""
    capacities, flows = lumps_of(nominal)
    return of_conductances(
        capacities[0],
        flows.emitter_centre_w_k4 + flows.emitter_edge_w_k4,
        flows.emitter_around_w_k4,
        flows.emitter_air_w_k,
        trusted=True,
        board_j_per_k=sum(capacities) - capacities[0] - capacities[3],  # without the surroundings
    )
