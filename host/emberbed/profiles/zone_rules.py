"""The rules of `check` about heaters with several zones: what they take together, what steers each.

As in check_rules: each takes a Case and yields (severity, location, sentence).
"""

from collections.abc import Callable

from emberbed.profiles.check_case import Case, Found

CODE = "local code first; many let a circuit be loaded to 80 % only for hours, NEC 210.20 as quoted"


def _unable(case: Case) -> Found:
    if case.zones is not None:
        for location, sentence in case.zones.mistakes(case.profile):
            yield "error", location, sentence


def _budget(case: Case) -> Found:
    """Say what zones take together, and what is done where the socket does not bear it."""
    zones = case.zones
    if zones is None or not zones.several or any(zones.mistakes(case.profile)):
        return
    each = " + ".join(str(watts) for watts in zones.watts)
    together = f"the heater's zones take {each} W = {zones.total_w} W together"
    if zones.total_w <= zones.socket_w:
        yield "note", (), f"{together}, and the socket gives {zones.socket_w:g} W ({CODE})"
        return
    count = len(zones.watts)
    most_w = case.power_cap * sum(
        watts * share
        for watts, share in zip(zones.watts, zones.steering(case.profile).shares, strict=True)
    )
    yield (
        "warning",
        (),
        f"{together}, more than the {zones.socket_w:g} W of the socket ({CODE}): the device never"
        f" has more of them on in one tick than the socket bears, they take turns, {zones.at_once}"
        f" of {count} at a time, and the heater gets {most_w:.0f} W on average at most; ramps may"
        " take longer than the profile says, so feed the heater from a larger circuit if that is"
        " too slow",
    )


def _steered(case: Case) -> Found:
    """Say which sensor each zone follows, and with what part of the power."""
    zones = case.zones
    if zones is None or not zones.several or case.profile.identifies():
        return
    if any(zones.mistakes(case.profile)):
        return
    sensors, shares = zones.steering(case.profile)
    told = ", ".join(
        f"zone {zone} follows {sensor} with {share:.0%}"
        for zone, (sensor, share) in enumerate(zip(sensors, shares, strict=True))
    )
    if len(set(shares)) > 1:
        yield (
            "note",
            (),
            f"{told} of what is asked of the heater, as its file has it from a step test",
        )
        return
    yield (
        "note",
        (),
        f"{told} of what is asked of the heater: nothing is known yet of how its zones warm the"
        " board; `emberbed identify` finds it, and evens the board out",
    )


ZONE_RULES: tuple[Callable[[Case], Found], ...] = (_unable, _budget, _steered)
