"""What a learned board means for the rest of the run, in figures and in sentences for a person.

`reachable` is whether every stage to come ends within its longest time at the power that the plan
allows; past it the device asks. Times are seconds of heating; a person's own time is not in them.
"""

from dataclasses import dataclass

from emberbed.bench.block_curve import minutes_text
from emberbed.bench.stage_text import stage_text
from emberbed.learn.board_fit import LearnedBoard
from emberbed.learn.forecast import Forecast, StageForecast, forecast
from emberbed.learn.mass_class import masses_g
from emberbed.profiles.plan_bytes import Plan
from emberbed_fw import plan as layout
from emberbed_fw.units import FULL_POWER_Q15, TICKS_PER_S

SLOW_FACTOR = 1.3  # over the planned time, beyond which a person is told that a ramp is slower
NEARLY_ALL = 0.95  # of the power that is allowed
ROUNDED_G = 10


@dataclass(frozen=True)
class Outlook:
    """`limiting_stage` counts from 0, None where every stage ends; then there are seconds."""

    reachable: bool
    limiting_stage: int | None
    seconds_to_end: float | None  # of heating
    cooling_s: float | None  # after it, without a fan
    sentences: list[str]


def outlook(learned: LearnedBoard, plan: Plan, stage: int, done_ticks: int = 0) -> Outlook:
    """Return what is to come from `done_ticks` in stage number `stage` (from 0) on."""
    likely, heavy = (
        forecast(
            learned.with_capacity(capacity), learned.warmth, learned.mean_power, plan, stage,
            done_ticks,
        )
        for capacity in (learned.capacity_j_per_k, learned.interval[1])
    )  # fmt: skip
    limiting = likely.limiting
    told = [board_sentence(learned), *_about_reach(likely, heavy, plan)]
    if limiting is not None:
        return Outlook(False, limiting, None, None, told)
    told += [*_about_slow(likely, plan), _about_time(likely)]
    return Outlook(True, None, likely.heating_s, likely.cooling_s, told)


def board_sentence(learned: LearnedBoard) -> str:
    """Return what the board is."""
    low, high = learned.interval
    least_g, most_g = (
        round(grams / ROUNDED_G) * ROUNDED_G for grams in masses_g(learned.capacity_j_per_k)
    )
    return (
        f"This board takes about {learned.capacity_j_per_k:.0f} J/K ({low:.0f} to {high:.0f}), a"
        f" {learned.mass_class} board of some {least_g} to {most_g} g; its sensor lags by about"
        f" {learned.lag_s:.1f} s."
    )


def _about_reach(likely: Forecast, heavy: Forecast, plan: Plan) -> list[str]:
    if likely.limiting is not None:
        return [_limit_sentence(likely.stages[-1], plan)]
    heated = [one for one in likely.stages if plan.stages[one.number]["kind"] == layout.RAMP]
    if not heated:
        return []
    hottest = max(heated, key=lambda one: plan.stages[one.number]["target_cdeg"])
    most = max(one.most_power for one in likely.stages)
    cap = _cap(plan, hottest.number)
    needs = f"of which the rest needs {_percent(most)}" if most < NEARLY_ALL * cap else "all of it"
    told = (
        f"{_target(plan, hottest.number)} is reachable at the {_percent(cap)} power that is"
        f" allowed, {needs}."
    )
    if heavy.limiting is None:
        return [told]
    doubtful = stage_text(plan, heavy.limiting)
    return [f"{told} It is close: a board at the upper end would not end the {doubtful} in time."]


def _limit_sentence(stage: StageForecast, plan: Plan) -> str:
    longest = minutes_text(plan.stages[stage.number]["longest_ticks"] // TICKS_PER_S)
    return (
        f"Stage {stage.number + 1} ({stage_text(plan, stage.number)}) is not reachable at"
        f" {_percent(_cap(plan, stage.number))} power: after its longest time of"
        f" {longest} min this board would be at {stage.reached_c:.0f} °C, and the device would ask;"
        " write a slower rate or a longer longest_s, or a lower target."
    )


def _about_slow(likely: Forecast, plan: Plan) -> list[str]:
    return [
        f"The {stage_text(plan, one.number)} takes about {minutes_text(round(one.seconds))} min"
        f" instead of {minutes_text(round(one.planned_s))}: the heater cannot do it faster."
        for one in likely.stages
        if plan.stages[one.number]["kind"] == layout.RAMP
        and one.most_power > NEARLY_ALL * _cap(plan, one.number)
        and one.seconds > SLOW_FACTOR * one.planned_s
    ]


def _about_time(likely: Forecast) -> str:
    return (
        f"About {_minutes(likely.heating_s)} of heating to the end, your own time at the prompts"
        f" not counted; then up to {_minutes(likely.cooling_s)} of cooling, less with the fan."
    )


def _minutes(seconds: float) -> str:
    return f"{max(1, round(seconds / 60))} min"


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _target(plan: Plan, number: int) -> str:
    return f"{plan.stages[number]['target_cdeg'] / 100:g} °C"


def _cap(plan: Plan, number: int) -> float:
    own = plan.stages[number]["cap_q15"] or FULL_POWER_Q15
    return min(plan.header["cap0_q15"], own) / FULL_POWER_Q15
