"""Healthy days: deterministic, as mixed as they should be, judged by trips and by the monitor."""

from emberbed_sim.campaign.healthy import draw_day, run_healthy

DAYS = 400


def test_the_same_seed_gives_the_same_day():
    assert run_healthy(11) == run_healthy(11)


def test_days_are_mixed():
    days = [draw_day(seed) for seed in range(DAYS)]
    share = {
        word: sum(word in day.says.split() for day in days) / DAYS
        for word in ("hot_bench", "hot_air_wanders", "cold_chip", "draught", "bead_touched",
                     "mains_off_nominal", "next_board")
    }  # fmt: skip
    # contracts: hot air on, off and fan in at least 30 % of the runs; every day here has both
    assert share["hot_air_wanders"] >= 0.3
    assert share["hot_bench"] >= 0.2
    assert all(part > 0.05 for part in share.values()), share
    assert {day.setup.sensors for day in days} == {"one", "edge", "pair"}
    assert {day.setup.knowledge for day in days} == {"known", "guessed", "any"}


def test_a_quiet_day_goes_through():
    quiet = next(seed for seed in range(DAYS) if draw_day(seed).says == "")
    result = run_healthy(quiet)
    assert (result.miss, result.asks) == ("", 0)
    assert result.heated


def test_a_second_board_follows_on_hot_emitters():
    seed = next(seed for seed in range(DAYS) if draw_day(seed).says == "next_board")
    assert run_healthy(seed).miss == ""
