"""The whole grid plant: books, batch, integrator, air."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from emberbed_sim.plant import grid_plant
from emberbed_sim.plant.grid_emitters import GridEmitter
from emberbed_sim.plant.grid_parameters import (
    DraughtShape,
    GridBench,
    GridSurroundings,
    JetShape,
    Stackup,
)
from emberbed_sim.plant.grid_plant import GridPlant, Numbers
from emberbed_sim.plant.parameters import (
    PLACES,
    ZERO_C_K,
    BenchParameters,
    BoardParameters,
)
from emberbed_sim.plant.thermal import ThermalNetwork
from tests.support.grid_benches import SMALL, board_loss_w, gains_w, lone_plant, run, sheet_board

THREE = (
    GridEmitter("ceramic", 400.0, -60.0, 0.0, 60.0, 150.0, zone=0),
    GridEmitter("halogen", 400.0, 10.0, 0.0, 40.0, 150.0, zone=1),
    GridEmitter("quartz", 400.0, 70.0, 10.0, 50.0, 120.0, zone=1),
)


def busy(plant: GridPlant, ticks: int) -> None:
    """Use everything: zones, fan, hot air, draught."""
    for tick in range(ticks):
        on = (400.0 * (tick % 10 < 6), 800.0 * (tick % 4 < 3))
        blow = float(ticks // 3 < tick < ticks // 2)
        plant.step(on, float(tick > ticks // 2), blow, 450.0, float(tick > 2 * ticks // 3))


def test_energy_is_conserved_with_everything_on() -> None:
    # first law: electric energy + heat of the jet = heat stored + heat given to the room
    plant = GridPlant(GridBench(SMALL, THREE))
    busy(plant, 6000)
    assert plant.energy_in_j > 400_000
    assert plant.energy_from_jet_j > 500
    assert plant.energy_to_room_j > 50_000
    balance_j = plant.stored_j() + plant.energy_to_room_j - plant.energy_from_jet_j
    assert balance_j == pytest.approx(plant.energy_in_j, rel=1e-9)


def test_a_closed_box_keeps_every_joule() -> None:
    # first law: no loss to the room, so all that came in is stored; the goal is 1e-6
    around = GridSurroundings(housing_loss_w_k=0.0, above_loss_w_k=0.0)
    plant = GridPlant(GridBench(surroundings=around))
    run(plant, 300, 600.0)
    run(plant, 60, 0.0, fan=1.0)
    assert plant.energy_to_room_j == 0.0
    assert plant.energy_in_j == pytest.approx(180_000, rel=1e-12)
    assert plant.stored_j() == pytest.approx(180_000, rel=1e-6)


def test_a_bench_at_room_temperature_stays_there() -> None:
    # second law: nothing warms itself
    plant = GridPlant(GridBench(SMALL, THREE))
    run(plant, 60, (0.0, 0.0), fan=1.0, draught=1.0)
    assert plant.state[0, : plant.layout.nodes] == pytest.approx(296.15, abs=1e-9)


def different_benches() -> list[GridBench]:
    return [
        GridBench(SMALL, THREE),
        GridBench(
            replace(SMALL, scale=BoardParameters(310, 200, 130, 0.85, 1.2), via_w_m_k=0.4),
            tuple(replace(emitter, heat_factor=0.7) for emitter in THREE),
            35.0,
            GridSurroundings(17.0, 2500.0, 700.0),
            JetShape(110.0, x_mm=12.0),
        ),
        GridBench(
            replace(SMALL, stackup=Stackup(6, 35.0, 0.6), top_emissivity=0.7),
            tuple(replace(emitter, y_mm=emitter.y_mm - 8, strength=0.9) for emitter in THREE),
            50.0,
            draught=DraughtShape(12.0, "y_high"),
        ),
    ]


@pytest.mark.parametrize("block", [32, 2])
def test_batch_and_single_agree(monkeypatch: pytest.MonkeyPatch, block: int) -> None:
    # the same equations: to 1e-12 of every temperature and energy
    monkeypatch.setattr(grid_plant, "BLOCK", block)
    benches = different_benches()
    batch = GridPlant(benches)
    busy(batch, 600)
    for row, bench in enumerate(benches):
        single = GridPlant(bench)
        busy(single, 600)
        assert batch.state[row] == pytest.approx(single.state[0], rel=1e-12)
        for name in single.places:
            assert batch.place_k(name)[row] == pytest.approx(single.place_k(name), rel=1e-12)
            assert batch.net_ir_kw_m2(name)[row] == pytest.approx(
                single.net_ir_kw_m2(name), rel=1e-10, abs=1e-12
            )
            assert batch.air_k(name)[row] == pytest.approx(single.air_k(name), rel=1e-12)
        assert batch.map_c()[0][row] == pytest.approx(single.map_c()[0], rel=1e-11)
        assert batch.stored_j()[row] == pytest.approx(single.stored_j(), rel=1e-10)


def test_plants_of_a_batch_may_be_driven_apart() -> None:
    batch = GridPlant([GridBench(SMALL, THREE)] * 3)
    powers_w = np.array([[400.0, 0.0], [0.0, 800.0], [100.0, 300.0]])
    fans, jets = np.array([0.0, 1.0, 0.5]), np.array([1.0, 0.0, 0.3])
    airs_c, draughts = np.array([200.0, 0.0, 300.0]), np.array([0.0, 1.0, 0.0])
    for _ in range(200):
        batch.step(powers_w, fans, jets, airs_c, draughts)
    for row in range(3):
        single = GridPlant(GridBench(SMALL, THREE))
        for _ in range(200):
            single.step(powers_w[row], fans[row], jets[row], airs_c[row], draughts[row])
        assert batch.state[row] == pytest.approx(single.state[0], rel=1e-12)
        assert batch.air_k("chip_top")[row] == pytest.approx(single.air_k("chip_top"))


# scipy's DOP853 at 1e-11 on the same right-hand side; quartz alone, and with a filament that warms
# to 2200 degC within a few ticks
@pytest.mark.parametrize(
    ("bench", "zone_w", "board_k", "worst_k"),
    [
        (GridBench(), 600.0, 5e-5, 2e-3),
        (GridBench(SMALL, THREE), (300.0, 500.0), 5e-4, 3e-3),
    ],
)
def test_the_step_is_fine_enough(
    bench: GridBench, zone_w: Numbers, board_k: float, worst_k: float
) -> None:
    plant, reference = GridPlant(bench), GridPlant(bench)
    nodes = plant.layout.nodes
    fine = solve_ivp(
        lambda _, state: reference.rates(state, zone_w, fan=0.2, jet=0.5, jet_c=200.0),
        (0, 60),
        reference.state[0].copy(),
        method="DOP853",
        rtol=1e-10,
        atol=1e-7,
    )
    run(plant, 60, zone_w, fan=0.2, jet=0.5, jet_c=200.0)
    off = np.abs(plant.state[0] - fine.y[:, -1])
    assert off[: plant.layout.bottom.stop].max() < board_k
    assert off[:nodes].max() < worst_k
    assert plant.state[0, nodes:] == pytest.approx(fine.y[nodes:, -1], rel=1e-4)


def test_the_default_bench_is_like_the_lumped_one() -> None:
    # two models of the same bench, made apart: within a tenth of the rise; 0.6 to 1 degC/s around
    # 90 degC at 60 % power is common practice, no source
    grid, lumped = GridPlant(GridBench()), ThermalNetwork(BenchParameters())
    reached_s: dict[int, float] = {}
    for tick in range(3000):
        grid.step(600.0)
        lumped.step((600.0,), 0.0)
        reached_s.setdefault(int(grid.place_k("board_centre") - ZERO_C_K), tick / 10)
    assert 0.6 < 10 / (reached_s[95] - reached_s[85]) < 1.0
    centre_k = (grid.place_k("board_centre") + grid.place_k("under_centre")) / 2
    assert centre_k - 296.15 == pytest.approx(lumped.centre_k - 296.15, rel=0.1)
    assert grid.emitter_k - 296.15 == pytest.approx(lumped.emitter_k - 296.15, rel=0.1)
    corner, edge = grid.place_k("board_corner"), grid.place_k("board_edge")
    assert corner < edge < grid.place_k("near_chip")
    assert set(PLACES) <= set(grid.places)


def test_surroundings_share_and_lose_as_their_conductances_say() -> None:
    # Newton's law: housing 10 K over the room, 1 W/K to what is above and 6 W/K to the room
    plant = GridPlant(GridBench())
    housing = plant.layout.housing
    plant.state[0, :housing] += 10.0
    plant.state[0, housing] += 10.0
    plant.state[0, : plant.layout.top.stop] -= 10.0  # what would warm the air above
    rates = plant.rates(plant.state[0], 0.0)
    assert rates[housing + 1] * 500 == pytest.approx(10.0, abs=1e-6)
    assert rates[-1] == pytest.approx(60.0)
    assert rates[housing] * 3500 == pytest.approx(-70.0, abs=1e-6)


def test_the_fan_blows_on_both_faces() -> None:
    # Newton's law: h A dT with the 20 W/m2K of the board's parameters
    plant = lone_plant(sheet_board(), 25.0)
    assert board_loss_w(plant, 125.0, fan=1.0) == pytest.approx(2 * 20 * 0.0216 * 100, rel=1e-6)
    assert board_loss_w(plant, 125.0, fan=0.5) == pytest.approx(20 * 0.0216 * 100, rel=1e-6)


def test_the_draught_is_as_strong_as_its_mean_and_stronger_where_it_enters() -> None:
    # laminar plate, h ~ x^-1/2 (Incropera eq. 7.23): its mean is twice the value at the far end
    for side in ("x_low", "x_high", "y_low", "y_high"):
        bench = replace(lone_plant(sheet_board(), 25.0).benches[0], draught=DraughtShape(8.0, side))
        plant = GridPlant(bench)
        lost_w = board_loss_w(plant, 125.0, draught=1.0)
        assert lost_w == pytest.approx(8 * 0.0216 * 100, rel=1e-6)
        gains = gains_w(plant, draught=1.0)[plant.layout.top].reshape(12, 24)
        along = gains.mean(axis=0) if side[0] == "x" else gains.mean(axis=1)
        along = along if side.endswith("low") else along[::-1]
        assert np.all(np.diff(along) > 0)
        assert -along[-1] * gains.size == pytest.approx(lost_w / 2, rel=0.03)


def test_hot_air_heats_the_chip_first_and_is_booked() -> None:
    # Newton's law at the nozzle's foot; 100 to 150 W/m2K for a 10 mm jet: published correlations
    plant = GridPlant(GridBench())
    still = gains_w(plant, 0.0)
    blown = gains_w(plant, 0.0, jet=1.0, jet_c=300.0) - still
    chip_w_m2_k = blown[0] / (0.027**2 * 277.0)
    assert 95 < chip_w_m2_k < 140
    top = blown[plant.layout.top].reshape(12, 24)
    assert top[0, 0] < 0.05 * top.max()
    booked_w = plant.rates(plant.state[0], 0.0, jet=1.0, jet_c=300.0)[-2]
    assert booked_w == pytest.approx(blown.sum(), rel=1e-9)
    run(plant, 60, 0.0, jet=1.0, jet_c=300.0)
    assert plant.place_k("chip_top") > plant.place_k("near_chip") > plant.place_k("board_corner")
    assert plant.air_k("chip_top") > plant.air_k("board_corner") > plant.air_k("under_centre")
    assert plant.energy_from_jet_j == pytest.approx(plant.stored_j() + plant.energy_to_room_j)


def test_a_wide_jet_is_newtons_law_on_the_whole_face() -> None:
    # Newton's law of cooling: 140 W/m2K x area x temperature difference
    wide = JetShape(140.0, 1e6, 1e6)
    bench = replace(lone_plant(sheet_board(), 25.0).benches[0], jet=wide)
    gained_w = -board_loss_w(GridPlant(bench), 25.0, jet=1.0, jet_c=125.0)
    assert gained_w == pytest.approx(140 * 0.0216 * 100, rel=1e-6)
