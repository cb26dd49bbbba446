"""The rules of `check` about fixed power: how hot a board may get when nothing controls the heat.

As in check_rules: each takes a Case and yields (severity, location, sentence).
"""

from collections.abc import Callable

from emberbed.materials.book import UNKNOWN
from emberbed.profiles import limits
from emberbed.profiles.check_case import Case, Found
from emberbed.profiles.timing import reach_cdeg
from emberbed_fw.units import TICKS_PER_S


def _stored_heat(case: Case) -> Found:
    """Yield the stage that may carry the board furthest, where that is too far."""
    powers = list(case.powers())
    if not powers:
        return
    location, stage = max(powers, key=lambda one: (reach_cdeg(one[1]), one[1].percent))
    reach_c = reach_cdeg(stage) / 100
    tg_c, solidus_c = case.laminate.tg_c, case.alloy.solidus_c
    if reach_c < min(tg_c, solidus_c):
        return
    what, material = "the laminate", case.laminate
    soft = f"the glass transition of {material.spoken()} is {tg_c:g} °C ({material.source})"
    if solidus_c < tg_c:
        what, material = "the solder", case.alloy
        soft = f"{material.spoken()} is solid up to {solidus_c:g} °C ({material.source})"
    named = f", or name {what}" if material.name == UNKNOWN else ""
    stored_c = limits.STORED_HEAT.value if stage.percent > 0 else 0.0
    further = f", stored heat may carry the board {stored_c:g} °C further" if stored_c else ""
    source = f" ({limits.STORED_HEAT.source})" if stored_c else ""
    yield (
        "error",
        (*location, "limit_c"),
        f"the heat goes off at {stage.limit_c:g} °C{further}{source}, and {soft}; write less than"
        f" {min(tg_c, solidus_c) - stored_c:g} °C{named}",
    )


def _capped(case: Case) -> Found:
    for location, stage in case.powers():
        if stage.percent > 100 * case.power_cap:
            yield (
                "warning",
                (*location, "percent"),
                f"the heater gives {case.power_cap:.0%} of its power at most, less than the"
                f" {stage.percent:g} % here; write {100 * case.power_cap:g} or less",
            )


def _open_loop(case: Case) -> Found:
    if not case.profile.identifies():
        return
    planned_min = sum(span.planned_ticks for span in case.spans) / TICKS_PER_S / 60
    yield (
        "note",
        (),
        "fixed power is open loop: nothing keeps a temperature, and it is for identifying a heater,"
        f" not for work; it takes {planned_min:.0f} min at most before the cooling, and the board"
        f" may reach {case.peak_c():g} °C",
    )


POWER_RULES: tuple[Callable[[Case], Found], ...] = (_stored_heat, _capped, _open_loop)
