"""`rehearse --what-ifs`: other boards, mains, rooms, sensors; the firmware in the loop, and not."""

import json
from dataclasses import replace

import numpy as np
import pytest

from emberbed import rehearse_what_ifs as what_ifs
from emberbed.profiles.reader import parse_profile
from emberbed.rehearse import rehearse
from emberbed.rehearse_bench import Bench, usual_bench
from emberbed_fw import run_states as rs
from emberbed_sim.campaign import traced, what_ifs_pool
from emberbed_sim.campaign.what_ifs import Case, run_cases
from emberbed_sim.kernel.benches import benches_of
from emberbed_sim.kernel.courses import march
from emberbed_sim.plant.heater import plant_of
from tests.support.parts import need
from tests.support.profiles import hold_profile

COUNT = 3


@pytest.fixture(scope="module")
def given():
    profile_file = parse_profile(hold_profile(for_s=20, to_c=60).encode(), "short.toml")
    bench, power = usual_bench(profile_file), what_ifs.Power()
    done = rehearse(profile_file, 1, (), bench, power.look)
    found = what_ifs.what_ifs_of(done, bench.parameters, power, 0, COUNT, 1)
    return profile_file, bench.parameters, done, power, found


def test_a_what_if_is_the_rehearsal_on_that_bench(given):
    # the same run as `rehearse` makes on the drawn bench with its own seed, seen on its truth
    profile_file, bench, done, _power, found = given
    what, told = found.drawn[1], found.outcomes[1]
    varied = what_ifs.varied(bench, what)
    places_c = []

    def look(record, heater):
        if record.state != rs.COOL:
            places_c.append(heater.truth.places_c[0])

    again = rehearse(
        profile_file, 2, (), Bench(varied, lambda: plant_of(varied, "lumped")), look=look
    )
    assert again.prepared.plan == done.prepared.plan
    assert told.from_below_c == told.peaks_c[0] >= told.stages[1][2]
    hold_c = [c for c, r in zip(places_c, again.records, strict=False) if r.stage == 1]
    assert told.stages[1] == (len(hold_c) / 10, min(hold_c), max(hold_c))


def test_draws_are_inside_what_is_said_and_the_first_ones_stay(given):
    drawn = what_ifs.draw(200, 7)
    for name, (low, high) in what_ifs.RANGES.items():
        values = [one[name] for one in drawn]
        assert low <= min(values) < low + 0.1 * (high - low)
        assert high >= max(values) > high - 0.1 * (high - low)
    assert what_ifs.draw(3, 7) == drawn[:3]
    assert what_ifs.draw(3, 8) != drawn[:3]


def test_a_varied_bench_is_so(given):
    bench = given[1]
    what = {"board_mass": 1.2, "mains_volts": 0.9, "emissivity": 1.2, "room_c": 12.0,
            "sensor_lag": 2.0}  # fmt: skip
    found = what_ifs.varied(bench, what)
    assert found.board.mass_g == pytest.approx(1.2 * bench.board.mass_g)
    assert found.mains.power_factor == pytest.approx(0.81)
    assert found.board.emissivity == found.emitter.emissivity == 1.0
    assert found.surroundings.room_c == 12.0
    assert found.sensors[0].lag_s == 2 * bench.sensors[0].lag_s
    same = what_ifs.varied(bench, dict.fromkeys(what, 1.0) | {"room_c": bench.surroundings.room_c})
    assert same == replace(bench, mains=same.mains)


def test_nobody_corrects_more_or_less_power(given):
    # on the rehearsal's own bench the same power gives the rehearsal's own peak
    _file, bench, done, power, found = given
    at_c = []
    rehearse(given[0], 1, (), Bench(bench, lambda: plant_of(bench, "lumped")),
             look=lambda _record, heater: at_c.append(heater.truth.board_centre_c))  # fmt: skip
    full_w = bench.emitter.watts
    plain = what_ifs._without_stray(bench)
    shares = np.array(power.watts) / full_w
    again = march(benches_of([plain]), shares, np.array(power.fan), every=10)
    assert again.bead_c[:, 0].max() == pytest.approx(max(at_c), abs=0.2)
    assert found.open_peak_c.std() > 2 * np.std([one.from_below_c for one in found.outcomes])


def test_its_lines_and_its_json(given):
    found = given[4]
    lines = what_ifs.as_lines(found, "top_near_chip")
    assert lines[0].startswith("3 what-ifs around this bench (")
    assert f"the firmware corrects ({found.engine}):" in lines[1]
    assert "3 of 3 come to their cooling; every limit kept in 3 of 3" in "\n".join(lines)
    told = json.loads(json.dumps(what_ifs.as_json(found)))
    assert len(told["runs"]) == len(told["nobody_corrects"]["peak_c"]) == COUNT
    assert told["runs"][0]["room_c"] == found.drawn[0]["room_c"]


def test_few_are_run_where_only_cpython_is_and_it_is_said(given, monkeypatch):
    profile_file, bench, done, power, _found = given
    monkeypatch.setattr(what_ifs_pool, "engine_for", lambda _count: "")
    monkeypatch.setattr(what_ifs, "MOST_IN_CPYTHON", 1)
    found = what_ifs.what_ifs_of(done, bench, power, 0, 4, 1)
    assert len(found.outcomes) == 1 and len(found.open_peak_c) == 4
    assert "on the first 1, as PyPy is not here" in what_ifs.as_lines(found, "top")[1]


def test_pypy_gives_the_same_outcomes(given):
    need("PyPy", traced.find(), "install your system's package pypy3")
    _file, bench, done, _power, found = given
    cases = [
        Case(done.settings, done.prepared.plan, what_ifs.varied(bench, what), 1 + n)
        for n, what in enumerate(found.drawn)
    ]
    there, engine = what_ifs_pool.outcomes(cases, 0, traced.find(), workers=1)
    assert engine.startswith("PyPy")
    assert there == run_cases(cases, 0) == list(found.outcomes)


@pytest.mark.parametrize(
    "more", [("--plant", "grid"), ("--map", "m.svg"), ("--fault", "tc_open@9s")]
)
def test_what_it_cannot_go_with_is_refused(refused, short_profile, more):
    sentence = refused("rehearse", short_profile, "--what-ifs", "5", *more)
    assert sentence.startswith("--what-ifs draws benches around the usual one")


def test_the_command(emberbed, short_profile):
    answer = json.loads(emberbed("rehearse", short_profile, "--what-ifs", "2", "--json").out)
    assert answer["what_ifs"]["count"] == 2
