"""The simulated heater in two zones: what its bank is made of; each zone warms both spots."""

import pytest

from emberbed.bench import virtual
from emberbed.device_description import decode_settings
from emberbed_sim.bench_device import bench_settings
from emberbed_sim.plant.grid_emitters import zone_watts
from emberbed_sim.plant.grid_from_bench import grid_bench
from emberbed_sim.plant.heater import PLANTS, bench_in_zones, plant_of
from emberbed_sim.plant.nozzle import STILL
from emberbed_sim.plant.parameters import BenchParameters, EmitterParameters

TWO = bench_in_zones(BenchParameters(), "two-zones")


def test_the_host_knows_the_same_plants():
    assert virtual.PLANTS == PLANTS


def test_middle_and_rim_are_the_whole_bank():
    emitters = grid_bench(TWO).emitters
    bank = TWO.emitter
    assert zone_watts(emitters) == pytest.approx(bank.zone_watts)
    assert sum(bank.zone_watts) == bank.watts
    assert sum(one.area_m2 for one in emitters) == pytest.approx(
        bank.length_mm * bank.width_mm * 1e-6
    )
    heat_j_k = sum(one.heat_capacity_j_k for one in emitters)
    assert heat_j_k == pytest.approx(bank.heat_capacity_j_k)


def test_the_device_on_it_has_two_zones():
    zones = decode_settings(bench_settings(TWO)).zones
    assert [zone.watts for zone in zones] == [300, 700, 0, 0]


def test_other_plants_stay_as_they_are():
    assert all(bench_in_zones(TWO, plant) == TWO for plant in PLANTS)
    assert bench_in_zones(BenchParameters(), "grid") == BenchParameters()


def risen(zone: int) -> tuple[float, float]:
    """Return what beside the chip and at the rim 60 s of one zone at full power bring, in K."""
    heat = plant_of(TWO, "two-zones")
    before = heat.centre_k, heat.edge_k
    for _tick in range(600):
        powers = [full * (number == zone) for number, full in enumerate(heat.zone_full_w)]
        heat.step(powers, 0.0, STILL, 0.0)
    return heat.centre_k - before[0], heat.edge_k - before[1]


def test_each_zone_warms_both_and_its_own_spot_more():
    (middle, middle_at_rim), (rim_at_middle, rim) = risen(0), risen(1)
    assert middle > 1.1 * middle_at_rim > 5
    assert rim > 1.1 * rim_at_middle > 5


@pytest.mark.parametrize(
    "emitter",
    [dict(middle_watts=1000.0), dict(middle_watts=300.0, middle_mm=(220.0, 80.0)),
     dict(middle_watts=-1.0)],
)  # fmt: skip
def test_a_middle_that_is_no_part_of_the_bank_is_refused(emitter):
    with pytest.raises(ValueError, match="middle is no part of its bank"):
        EmitterParameters(**emitter)


def test_a_bank_in_two_zones_has_no_strengths():
    with pytest.raises(ValueError, match="leave its emitters' strengths out"):
        grid_bench(TWO, (1.0, 0.7))
