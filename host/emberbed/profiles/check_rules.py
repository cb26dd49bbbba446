"""The rules of `check`, one function each: what a profile would do to board, solder and heater.

Each takes a Case and yields (severity, location, sentence), and where there is one the number with
its limit as Judged; the sentence names the rule with its source and the mend. Numbers and sources
come from `limits` and the materials book. RULES lists them all, with those about sensors, hot air,
materials, open loop and zones that stand in files of their own.
"""

import math
from collections.abc import Callable

from emberbed.profiles import limits
from emberbed.profiles.air_rules import AIR_RULES
from emberbed.profiles.bounds import most_setpoint_cdeg, soak_advised_c, solid_below_c
from emberbed.profiles.check_case import Case, Found, Judged, against
from emberbed.profiles.coast_rules import COAST_RULES
from emberbed.profiles.energy import power_needed_w, rate_within_power_c_per_s
from emberbed.profiles.heat_times import dose_min
from emberbed.profiles.marks import calls_for_flux
from emberbed.profiles.model import Cool, Hold, HotAir, Ramp, Wait
from emberbed.profiles.power_rules import POWER_RULES
from emberbed.profiles.sensor_rules import SENSOR_RULES
from emberbed.profiles.timing import impossible
from emberbed.profiles.trade_rules import TRADE_RULES
from emberbed.profiles.written_numbers import fahrenheit_hint
from emberbed.profiles.zone_rules import ZONE_RULES
from emberbed_fw.units import TICKS_PER_S

LEAST_TOLD = 0.001  # of the laminate's time


def _times(case: Case) -> Found:
    for location, sentence in impossible(case.profile):
        yield "error", location, sentence


def _laminate(case: Case) -> Found:
    tg_c, name = case.laminate.tg_c, case.laminate.spoken()
    advised_c = soak_advised_c(case.laminate)
    for place, asked_c in case.asked_c():
        if asked_c > tg_c:
            hint = fahrenheit_hint(asked_c, limits.DRY_OUT_LOW.value, advised_c)
            yield (
                "warning",
                place,
                f"{asked_c:g} °C is above the glass transition of {name}"
                f" ({tg_c:g} °C), where the board goes soft and tears its vias"
                f" ({case.laminate.source}); stay at {advised_c:g} °C or below"
                + (f", and {hint}" if hint else ""),
                Judged(asked_c, tg_c, "°C", case.laminate.source),
            )
        elif asked_c > advised_c:
            limit = limits.SUPPORT_SOAK if advised_c == limits.SUPPORT_SOAK.value else None
            rule = limit or limits.TG_MARGIN
            yield (
                "warning",
                place,
                f"{asked_c:g} °C from below is more than the {advised_c:g} °C advised for"
                f" {name} ({rule.source}); stay at {advised_c:g} °C or below",
                Judged(asked_c, advised_c, "°C", rule.source),
            )


def _solder(case: Case) -> Found:
    alloy, name = case.alloy, case.alloy.spoken()
    close_c = solid_below_c(alloy)
    for place, asked_c in case.asked_c():
        if asked_c >= alloy.solidus_c:
            yield (
                "warning",
                place,
                f"{asked_c:g} °C melts {name} (solid up to {alloy.solidus_c:g} °C,"
                f" {alloy.source}), and a bottom heater is not meant to reflow a board alone;"
                f" stay below {close_c:g} °C and bring the rest from above",
                Judged(asked_c, alloy.solidus_c, "°C", alloy.source),
            )
        elif asked_c > close_c:
            yield (
                "warning",
                place,
                f"{asked_c:g} °C is less than {limits.SOLIDUS_MARGIN.value:g} °C below the"
                f" solidus of {name} ({alloy.solidus_c:g} °C) and a hotter spot could melt"
                f" ({limits.SOLIDUS_MARGIN.source}); stay at {close_c:g} °C or below",
                Judged(asked_c, close_c, "°C", limits.SOLIDUS_MARGIN.source),
            )


def _rates(case: Case) -> Found:
    for location, _span, ramp in case.ramps():
        if ramp.rate_c_per_s > limits.RAMP_ADVISED.value:
            yield (
                "warning",
                (*location, "rate_c_per_s"),
                f"{ramp.rate_c_per_s:g} °C/s from below leaves the board's top and edges behind"
                f" ({limits.RAMP_ADVISED.source}); write {limits.RAMP_ADVISED.value:g} or less",
                against(ramp.rate_c_per_s, limits.RAMP_ADVISED),
            )
    last = case.spans[-1]
    if not isinstance(last.stage, Cool):
        return
    if last.stage.fastest_c_per_s > limits.COOLING_ADVISED.value:
        yield (
            "warning",
            ("stages", last.index, "fastest_c_per_s"),
            f"cooling at {last.stage.fastest_c_per_s:g} °C/s strains joints and chip"
            f" ({limits.COOLING_ADVISED.source}); write {limits.COOLING_ADVISED.value:g} or less",
            against(last.stage.fastest_c_per_s, limits.COOLING_ADVISED),
        )
    if last.stage.below_c > limits.HANDLING.value:
        yield (
            "warning",
            ("stages", last.index, "below_c"),
            f"a board just below {last.stage.below_c:g} °C is still too hot to handle"
            f" ({limits.HANDLING.source}); write {limits.HANDLING.value:g} or less",
            against(last.stage.below_c, limits.HANDLING),
        )


def _waits(case: Case) -> Found:
    for span in case.spans:
        stage, location = span.stage, ("stages", span.index)
        level_c = span.to_cdeg / 100
        flux_call = isinstance(stage, Wait) and calls_for_flux(stage.prompt)
        if flux_call and not limits.FLUX_LOW.value <= level_c <= limits.FLUX_HIGH.value:
            yield (
                "note",
                location,
                f"flux is called for at {level_c:g} °C; at {limits.FLUX_LOW.value:g} to"
                f" {limits.FLUX_HIGH.value:g} °C it melts at once and is drawn in"
                f" ({limits.FLUX_LOW.source}), so move the wait there",
                against(level_c, _nearer(level_c, limits.FLUX_LOW, limits.FLUX_HIGH)),
            )
        key, waits_s = "longest_s", stage.longest_s if isinstance(stage, Wait) else 0
        if isinstance(stage, HotAir):
            key, waits_s = "start_within_s", stage.start_within_s
        if waits_s > limits.WAIT_ADVISED.value:
            yield (
                "warning",
                (*location, key),
                f"the board may wait hot for {waits_s / 60:.0f} min"
                f" ({limits.WAIT_ADVISED.source} is the longest advised);"
                f" write {limits.WAIT_ADVISED.value:g} or less",
                against(waits_s, limits.WAIT_ADVISED),
            )


def _nearer(value: float, low: limits.Limit, high: limits.Limit) -> limits.Limit:
    """Return the end of a range that a value outside it lies beyond."""
    return low if value < low.value else high


def _dry_out(case: Case) -> Found:
    """Yield what is wrong with the holds before the board goes above the dry-out's end."""
    dried_s, last = 0.0, 0
    for span in case.spans:
        if isinstance(span.stage, Hold) and span.to_cdeg >= limits.DRY_OUT_LOW.value * 100:
            dried_s, last = dried_s + span.stage.for_s, span.index
        if isinstance(span.stage, Ramp) and span.to_cdeg > limits.DRY_OUT_ABOVE.value * 100:
            yield from _dry_out_faults(dried_s, last, span.index)
            return


def _dry_out_faults(dried_s: float, last_hold: int, hot_ramp: int) -> Found:
    if dried_s == 0:
        yield (
            "note",
            ("stages", hot_ramp),
            f"the board goes above {limits.DRY_OUT_ABOVE.value:g} °C with no dry-out before;"
            f" put a hold near 90 °C first so that moisture leaves the chip"
            f" ({limits.DRY_OUT_ABOVE.source})",
        )
    elif dried_s < limits.DRY_OUT_LEAST.value:
        yield (
            "warning",
            ("stages", last_hold, "for_s"),
            f"a dry-out of {dried_s:g} s lets little moisture out of the chip before the board goes"
            f" above {limits.DRY_OUT_ABOVE.value:g} °C ({limits.DRY_OUT_LEAST.source}); write"
            f" {limits.DRY_OUT_LEAST.value:g} or more, 180 is usual",
            against(dried_s, limits.DRY_OUT_LEAST),
        )


def _board(case: Case) -> Found:
    board = case.profile.board
    if board is None:
        yield (
            "note",
            (),
            "nothing is known of the board, so its mass and the power its ramps need are not"
            " judged; a kitchen scale and a ruler give board = { mass_g = ..., length_mm = ...,"
            " width_mm = ... }",
        )
        return
    areal_kg_m2 = (board.mass_g / 1000) / (board.length_mm * board.width_mm / 1e6)
    low, high = limits.AREAL_MASS_LOW, limits.AREAL_MASS_HIGH
    if not low.value <= areal_kg_m2 <= high.value:
        yield (
            "warning",
            ("board",),
            f"{board.mass_g:g} g on {board.length_mm:g} x {board.width_mm:g} mm are"
            f" {areal_kg_m2:.2g} kg/m², which no board weighs ({low.source}); weigh and measure"
            " it again",
            against(areal_kg_m2, _nearer(areal_kg_m2, low, high)),
        )


def _power(case: Case) -> Found:
    board = case.profile.board
    if case.heater_watts is None or board is None:
        return
    given_w = case.heater_watts * case.power_cap
    for location, span, ramp in case.ramps():
        if span.to_cdeg <= span.from_cdeg:
            continue
        needed_w = power_needed_w(board, ramp.to_c, ramp.rate_c_per_s)
        if needed_w <= given_w:
            continue
        rate = rate_within_power_c_per_s(board, ramp.to_c, given_w)
        least = limits.RANGES["rate_c_per_s"].least
        within = math.floor(rate / least) * least
        reachable = rate >= least
        mend = f"write {within:.2f} or less" if reachable else "choose a lower temperature"
        yield (
            "warning" if reachable else "error",
            (*location, "rate_c_per_s"),
            f"the ramp needs about {needed_w:.0f} W in the board at its end and the heater gives"
            f" {given_w:.0f} W at most ({case.power_cap:.0%} of {case.heater_watts:g} W; mass x"
            f" specific heat x rate and {limits.BOARD_LOSS.source}), so it"
            f" {'will lag' if reachable else 'never gets there'}; {mend}",
            Judged(needed_w, given_w, "W", limits.BOARD_LOSS.source),
        )


def _summary(case: Case) -> Found:
    if case.profile.identifies():  # power_rules tells how far it goes
        return
    planned_min = sum(span.planned_ticks for span in case.spans) / TICKS_PER_S / 60
    most_c = most_setpoint_cdeg(case.profile) / 100
    yield (
        "note",
        (),
        f"heating takes about {planned_min:.0f} min besides the waits, the peak is"
        f" {case.peak_c():g} °C, and changes at the bench reach {most_c:g} °C at most;"
        f" held against {case.alloy.spoken()}, {case.laminate.spoken()}, {case.flux.spoken()} and"
        f" {case.profile.standard}{_dose_words(case)}: figures of a book, which know nothing of"
        " this very board",
    )


def _dose_words(case: Case) -> str:
    rated = case.laminate.t260
    if rated is None:
        return ""
    share = dose_min(case.spans) / rated.value
    said = f"{share:.1%}" if share >= LEAST_TOLD else f"less than {LEAST_TOLD:.1%}"
    return f", its heat dose is {said} of what the laminate lasts at {limits.DOSE_AT_C:g} °C"


RULES: tuple[Callable[[Case], Found], ...] = (
    _times,
    _laminate,
    _solder,
    _rates,
    _waits,
    _dry_out,
    *SENSOR_RULES,
    *AIR_RULES,
    *POWER_RULES,
    *ZONE_RULES,
    *TRADE_RULES,
    _board,
    _power,
    *COAST_RULES,
    _summary,
)
