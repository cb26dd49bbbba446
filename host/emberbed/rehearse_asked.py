"""Everything that `emberbed rehearse` was asked for: the run, and a map or an identified heater.

Takes what a person wrote, gives an `Answer` that can be shown as lines, JSON and pictures. Raises
NotReady with sentences for what cannot be rehearsed.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import takewhile
from pathlib import Path

import numpy as np

from emberbed import (
    rehearse,
    rehearse_limit,
    rehearse_map,
    rehearse_spread,
    rehearse_what_ifs,
)
from emberbed.bench.prepare import NotReady, load_profile
from emberbed.bench.with_heater import load_heater
from emberbed.plain_text import printable
from emberbed.profiles.reader import ProfileFile
from emberbed.rehearse import Rehearsal
from emberbed.rehearse_bench import GRID, LUMPED, TWO_ZONES, Bench, usual_bench
from emberbed.rehearse_heater import OnHeater
from emberbed.rehearse_limit import Limit
from emberbed.rehearse_map import BoardMap, Watch
from emberbed.rehearse_spread import OneRun, Spread
from emberbed.rehearse_what_ifs import WhatIfs
from emberbed.report.chart_model import Shade
from emberbed_fw import run_states as rs
from emberbed_fw.units import NONE, TICKS_PER_S
from emberbed_sim.bench_device import parse_sensors
from emberbed_sim.faults import FaultEvent, parse_fault
from emberbed_sim.plant.heater import PLANTS
from emberbed_sim.plant.parameters import SensorPlacement


@dataclass(frozen=True)
class Asked:
    """What a person wrote."""

    profile: str
    seed: int = 1
    faults: Sequence[str] = ()
    plant: str | None = None  # None: what the rest asks for
    wants_map: bool = False
    heater: Path | None = None
    sensors: Sequence[str] = ()  # NAME:PLACE; none: the usual ones
    wants_limit: bool = False  # the best that any controller could do
    what_ifs: int = 0  # how many boards, mains, rooms and sensors beside the usual ones


@dataclass(frozen=True)
class Answer:
    """What came of it."""

    rehearsal: Rehearsal
    board_map: BoardMap | None = None
    on_heater: OnHeater | None = None
    spread: Spread | None = None
    limit: Limit | None = None
    what_ifs: WhatIfs | None = None


def answer(asked: Asked) -> Answer:
    """Rehearse. Raises NotReady."""
    plant = _plant(asked)
    profile_file = load_profile(asked.profile)
    try:
        faults = [parse_fault(text) for text in asked.faults]
        sensors = parse_sensors(asked.sensors)
        if asked.heater is not None and plant == LUMPED:
            return _on_heater(profile_file, sensors, asked, faults)
        bench = usual_bench(profile_file, plant, sensors)
        if plant != LUMPED:
            known = replace(bench, identified=load_heater(asked.heater))
            return _on_grid(profile_file, known, asked, faults)
        if asked.what_ifs:
            return _with_what_ifs(profile_file, bench, asked)
        done = rehearse.rehearse(profile_file, asked.seed, faults, bench)
        return Answer(done, limit=_limit(asked, done, bench))
    except ValueError as error:
        raise NotReady([str(error)]) from None


def as_json(given: Answer) -> dict[str, object]:
    """Return everything for scripts."""
    whole = rehearse.as_json(given.rehearsal)
    if given.board_map is not None:
        whole["map"] = rehearse_map.as_json(given.board_map)
    if given.on_heater is not None:
        whole["heater"] = {
            "file": given.on_heater.shown,
            "watts": given.on_heater.heater.scale.full_power_w,
            "percent_fitted": given.on_heater.heater.fit.percent_fitted,
            "tuned": given.on_heater.heater.gains is not None,
            "notes": given.rehearsal.about_heater,
            "left_out": given.on_heater.left_out(),
        }
    if given.spread is not None:
        whole["spread"] = rehearse_spread.as_json(given.spread)
    if given.limit is not None:
        whole["limit"] = rehearse_limit.as_json(given.limit)
    if given.what_ifs is not None:
        whole["what_ifs"] = rehearse_what_ifs.as_json(given.what_ifs)
    return whole


def as_lines(given: Answer) -> list[str]:
    """Return everything for a person."""
    control = given.rehearsal.names()[_control(given.rehearsal)]
    more = []
    if given.board_map is not None:
        more += rehearse_map.as_lines(given.board_map)
    if given.spread is not None:
        more += rehearse_spread.as_lines(given.spread, control)
    if given.limit is not None:
        more += rehearse_limit.as_lines(given.limit)
    if given.what_ifs is not None:
        more += rehearse_what_ifs.as_lines(given.what_ifs, control)
    if given.on_heater is None:
        return rehearse.as_lines(given.rehearsal, more)
    on_heater = given.on_heater
    more += [f"{note}." for note in given.rehearsal.about_heater] + on_heater.left_out()
    return rehearse.as_lines(given.rehearsal, more, on_heater.worth())


def picture_of(given: Answer) -> str:
    """Return the predicted curve as SVG, with its spread where there is one."""
    return rehearse.picture_of(given.rehearsal, _shades(given))


def map_of(given: Answer) -> str:
    """Return the map as SVG."""
    from emberbed.report.board_map import board_svg  # matplotlib: only when it is needed

    assert given.board_map is not None
    return board_svg(given.board_map.picture)


def _plant(asked: Asked) -> str:
    """Return the plant that is meant, or raise NotReady."""
    if asked.plant is not None and asked.plant not in PLANTS:
        shown = printable(asked.plant)
        raise NotReady([f"--plant {shown} is not known: give one of {', '.join(PLANTS)}"])
    in_zones = asked.plant == TWO_ZONES
    flat = asked.wants_map or in_zones or asked.plant == GRID
    if asked.heater is not None and flat and not in_zones:
        raise NotReady(
            [
                "--heater knows the board as a whole and no spots on it: leave --plant grid and"
                f" --map out, rehearse without --heater, or plan by it for --plant {TWO_ZONES}"
            ]
        )
    if asked.wants_map and asked.plant == LUMPED:
        raise NotReady([f"--map needs the board in two dimensions: add --plant {GRID}"])
    if asked.wants_limit and flat:
        raise NotReady(
            ["--limit takes the board as one piece: leave --plant grid and --map out, or --limit"]
        )
    if asked.what_ifs and (flat or asked.heater or asked.faults):
        raise NotReady(
            [
                "--what-ifs draws benches around the usual one, board as one piece, nothing broken:"
                " leave --plant grid, --map, --heater and --fault out, or --what-ifs"
            ]
        )
    return asked.plant or (GRID if asked.wants_map else LUMPED)


def _with_what_ifs(profile_file: ProfileFile, bench: Bench, asked: Asked) -> Answer:
    power = rehearse_what_ifs.Power()
    done = rehearse.rehearse(profile_file, asked.seed, (), bench, power.look)
    found = rehearse_what_ifs.what_ifs_of(
        done, bench.parameters, power, _control(done), asked.what_ifs, asked.seed
    )
    return Answer(done, limit=_limit(asked, done, bench), what_ifs=found)


def _on_grid(
    profile_file: ProfileFile, bench: Bench, asked: Asked, faults: Sequence[FaultEvent]
) -> Answer:
    watch = Watch([stage.kind == "hold" for stage in profile_file.model.stages])
    done = rehearse.rehearse(profile_file, asked.seed, faults, bench, watch.look)
    drawn = rehearse_map.board_map(watch, done.names(), _control(done))
    if drawn is None and asked.wants_map:
        raise NotReady(["Nothing is heated in this rehearsal, so there is no map: leave --map out"])
    return Answer(done, drawn)


def _on_heater(
    profile_file: ProfileFile,
    sensors: tuple[SensorPlacement, ...],
    asked: Asked,
    faults: Sequence[FaultEvent],
) -> Answer:
    seed = asked.seed
    identified = load_heater(asked.heater)
    assert identified is not None
    on_heater = OnHeater(profile_file, identified, sensors)

    def run_on(bench: Bench) -> Rehearsal:
        return rehearse.rehearse(profile_file, seed, faults, bench)

    first = run_on(on_heater.bench())
    drawn = identified.heater.drawn(rehearse_spread.HEATERS - 1, seed)
    others = (run_on(on_heater.bench(values)) for values in drawn)
    spread = Spread([_one_run(first), *map(_one_run, others)], seed)
    limit = _limit(asked, first, on_heater.bench())
    return Answer(first, on_heater=on_heater, spread=spread, limit=limit)


def _limit(asked: Asked, done: Rehearsal, bench: Bench) -> Limit | None:
    """Return the limit if it was asked for."""
    return rehearse_limit.limit_of(done, bench, _control(done)) if asked.wants_limit else None


def _one_run(done: Rehearsal) -> OneRun:
    """Return what the spread needs of a run: its control sensor once a second, its stages."""
    control, first = _control(done), done.records[0].tick
    begins_s: dict[int, float] = {}
    for record in done.records:
        if record.state in rs.SHOWN_STATES and record.stage != NONE:
            begins_s.setdefault(record.stage, (record.tick - first) / TICKS_PER_S)
    control_cdeg = (record.channel_cdeg(control) for record in done.records[::TICKS_PER_S])
    control_c = np.array([np.nan if cdeg is None else cdeg / 100 for cdeg in control_cdeg])
    from_below = takewhile(lambda record: record.waits_for != rs.WAITS_AIR_AWAY, done.records)
    peak_cdeg = max(record.channel_cdeg(control) or 0 for record in from_below)
    seconds = len(done.records) / TICKS_PER_S
    return OneRun(done.state, control_c, peak_cdeg / 100, seconds, begins_s)


def _control(done: Rehearsal) -> int:
    """Return the channel that the heater is controlled by."""
    wanted = done.prepared.profile_file.model.control_sensor()
    return next(channel for channel, name in done.names().items() if name == wanted)


def _shades(given: Answer) -> list[Shade]:
    control = given.rehearsal.names()[_control(given.rehearsal)]
    shades = [] if given.limit is None else [rehearse_limit.shade(given.limit, control)]
    if given.spread is None:
        return shades
    words = f"{control} on {len(given.spread.runs)} heaters as likely as the identified one"
    return [Shade(control, *given.spread.band_c(), words), *shades]
