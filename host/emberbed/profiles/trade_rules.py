"""The rules of `check` out of the materials book: package, neighbours, flux, soak, heat dose.

As in check_rules: each takes a Case and yields (severity, location, sentence, judged).
"""

from collections.abc import Callable, Sequence

from emberbed.materials.book import UNKNOWN, find_neighbour
from emberbed.materials.standards import classification
from emberbed.profiles import limits
from emberbed.profiles.bounds import package_limit
from emberbed.profiles.check_case import Case, Found, Judged, against
from emberbed.profiles.heat_times import dose_min, planned_s, seconds_within
from emberbed.profiles.marks import calls_for_flux, marks_of
from emberbed.profiles.model import Cool, HotAir, Wait
from emberbed.profiles.timing import Span

_CHIP = "chip = { length_mm = ..., width_mm = ..., thickness_mm = ... }"


def _package(case: Case) -> Found:
    rated, chip = package_limit(case.profile), case.profile.chip
    what = "it" if chip else "the weakest package"
    say = "" if chip else f", or say what the chip is: {_CHIP}"
    for _name, location, sensor in case.sensors():
        if sensor.role == "chip_top" and (sensor.limit_c or 0) > rated.value:
            yield (
                "warning",
                (*location, "limit_c"),
                f"the chip may get {sensor.limit_c:g} °C there, and {what} is rated for"
                f" {rated.value:g} °C ({rated.source}); write {rated.value:g} or less{say}",
                against(sensor.limit_c or 0, rated),
            )


def _neighbours(case: Case) -> Found:
    for _name, location, sensor in case.sensors():
        if sensor.part is None or sensor.limit_c is None:
            continue
        part = find_neighbour(sensor.part)
        if sensor.limit_c > part.limit_c:
            yield (
                "warning",
                (*location, "limit_c"),
                f"it may get {sensor.limit_c:g} °C, and for {part.name} the book says"
                f" {part.limit_c:g} °C ({part.source}; {part.status}); write {part.limit_c:g} or"
                " less, or take it off the board",
                Judged(sensor.limit_c, part.limit_c, "°C", f"{part.source} ({part.status})"),
            )


def _soak_window(case: Case) -> Found:
    """Yield a soak before the reflow that is longer than parts are classified for."""
    if not case.profile.has_hot_air():
        return
    rule = classification(case.profile.standard, case.alloy.leaded)
    seconds = seconds_within(case.spans, rule.soak_low_c, rule.soak_high_c)
    if seconds > rule.soak_most_s:
        unknown = case.alloy.name == UNKNOWN  # then the leaded window is a guess
        yield (
            "note" if unknown else "warning",
            ("stages", _hottest(case.spans)),
            f"the board spends {seconds:.0f} s between {rule.soak_low_c:g} and"
            f" {rule.soak_high_c:g} °C before the hot air, and parts are classified for"
            f" {rule.soak_most_s:g} s there ({rule.source}); shorten the soak, or accept it with a"
            " reason",
            Judged(seconds, rule.soak_most_s, "s", rule.source),
        )


def _to_peak(case: Case) -> Found:
    """Yield the time from cold to the reflow: told, as no preheater keeps that of an oven."""
    if not case.profile.has_hot_air():
        return
    rule = classification(case.profile.standard, case.alloy.leaded)
    seconds = planned_s(case.spans)
    if seconds > rule.to_peak_s:
        yield (
            "note",
            (),
            f"{seconds / 60:.1f} min go by before the hot air, besides the waits, and parts are"
            f" classified for {rule.to_peak_s / 60:g} min from 25 °C to the peak of a reflow oven"
            f" ({rule.source}); heat from below that stays under the solder's melting weighs less,"
            " which is what the heat dose counts",
            Judged(seconds, rule.to_peak_s, "s", rule.source),
        )


def _flux(case: Case) -> Found:
    start = next((n for n, span in enumerate(case.spans) if _brings_flux(span)), None)
    if start is None:
        return
    flux, after = case.flux, case.spans[start + 1 :]
    where = f"{flux.source}; {flux.status}"
    soaked_s = seconds_within(after, flux.soak_from_c)
    if soaked_s > flux.soak_longest_s:
        yield (
            "warning",
            ("stages", _hottest(after)),
            f"after the flux the board spends {soaked_s:.0f} s above {flux.soak_from_c:g} °C, which"
            f" uses up {flux.spoken()} (more than {flux.soak_longest_s:g} s, {where}); shorten the"
            " soak, or apply flux later",
            Judged(soaked_s, flux.soak_longest_s, "s", where),
        )
    hot_air = any(isinstance(span.stage, HotAir) for span in after)
    reached_c = max((span.to_cdeg / 100 for span in after if not _cools(span)), default=0.0)
    reached_c = max(reached_c, case.spans[start].to_cdeg / 100)
    if not hot_air and reached_c < flux.active_from_c:
        yield (
            "note" if flux.name == UNKNOWN else "warning",
            ("stages", case.spans[start].index),
            f"flux is called for and the board gets no hotter than {reached_c:g} °C;"
            f" {flux.spoken()} cleans from {flux.active_from_c:g} °C on ({where}), and what was not"
            " heated stays active on the board; go higher, or wash the board after the run",
            Judged(reached_c, flux.active_from_c, "°C", where),
        )


def _dose(case: Case) -> Found:
    rated = case.laminate.t260
    if rated is None:
        return
    share = dose_min(case.spans) / rated.value
    limit = limits.DOSE_SHARE
    if share > limit.value:
        yield (
            "warning",
            ("stages", _hottest(case.spans)),
            f"the heat of this run weighs as much as {share * rated.value:.1f} min at"
            f" {limits.DOSE_AT_C:g} °C, {share:.0%} of what {case.laminate.spoken()} lasts"
            f" ({rated.source}); a run should take no more than a third of it ({limit.source}):"
            " shorten the hottest stage",
            against(share, limit),
        )


def _brings_flux(span: Span) -> bool:
    stage = span.stage
    return isinstance(stage, Wait) and (
        calls_for_flux(stage.prompt) or "flux_on" in marks_of(stage)
    )


def _cools(span: Span) -> bool:
    return isinstance(span.stage, Cool)


def _hottest(spans: Sequence[Span]) -> int:
    """Return the number of the stage that keeps the highest temperature longest."""
    kept = [span for span in spans if not _cools(span)] or list(spans)
    return max(kept, key=lambda span: (span.to_cdeg, span.planned_ticks)).index


TRADE_RULES: tuple[Callable[[Case], Found], ...] = (
    _package,
    _neighbours,
    _soak_window,
    _to_peak,
    _flux,
    _dose,
)
