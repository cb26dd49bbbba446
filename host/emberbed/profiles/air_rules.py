"""The rules of `check` about hot air from above: what it does to the control, how long it may
blow, what its tool leaves of the socket.

As in check_rules: each takes a Case and yields (severity, location, sentence).
"""

from collections.abc import Callable

from emberbed.profiles import limits
from emberbed.profiles.check_case import Case, Found
from emberbed.profiles.model import Hold, HotAir, Ramp, Wait
from emberbed.profiles.tool_power import no_watts_left, tools


def _in_jet(case: Case) -> Found:
    name = case.profile.control_sensor()
    if case.profile.has_hot_air() and case.profile.sensors[name].in_jet:
        yield (
            "error",
            ("sensors", name, "in_jet"),
            "it controls and would see the hot air, for which the heater below would be cut until"
            " the board bows (common practice, no source); put it 5 to 10 mm beside the chip, out"
            " of the jet, or give the control to another sensor",
        )


def _learned(case: Case) -> Found:
    """Yield hot air that begins before the temperature below it was kept for a while."""
    kept_s = 0.0
    for span in case.spans:
        stage = span.stage
        if isinstance(stage, Ramp):
            kept_s = 0.0
        elif isinstance(stage, Hold):
            kept_s += stage.for_s
        elif isinstance(stage, Wait):
            kept_s += limits.SOAK_LEAST.value  # nobody is quicker
        elif isinstance(stage, HotAir) and kept_s < limits.SOAK_LEAST.value:
            yield (
                "warning",
                ("stages", span.index),
                f"hot air begins before the heater has learned what power keeps"
                f" {span.to_cdeg / 100:g} °C ({limits.SOAK_LEAST.source}); put a hold of"
                f" {limits.SOAK_LEAST.value:g} s or more before it",
            )


def _long(case: Case) -> Found:
    for location, _span, stage in case.hot_airs():
        if stage.longest_s > limits.HOT_AIR_ADVISED.value:
            yield (
                "warning",
                (*location, "longest_s"),
                f"{stage.longest_s / 60:.1f} min of hot air use up flux and chip"
                f" ({limits.HOT_AIR_ADVISED.source}); write {limits.HOT_AIR_ADVISED.value:g} or"
                " less and bring more heat from below",
            )


def _waits_with_air(case: Case) -> Found:
    for span in case.spans:
        if isinstance(span.stage, Wait) and "hot air" in span.stage.prompt.casefold():
            yield (
                "note",
                ("stages", span.index),
                "a wait does not know of the hot air and cuts the heat below for it; write"
                ' kind = "hot_air", which keeps the power that held the temperature',
            )


def _socket(case: Case) -> Found:
    socket = case.socket
    refused = list(no_watts_left(case.profile, socket))
    for location, sentence in refused:
        yield "error", location, sentence
    if refused or socket.heater_w == 0:
        return
    for index, stage in tools(case.profile):
        place = ("stages", index, "tool_w")
        left_w = socket.socket_w - stage.tool_w
        wanted_w = socket.heater_w * socket.power_cap
        if not socket.is_known():
            yield (
                "note",
                place,
                f"the device does not know what its socket gives, so the {stage.tool_w:g} W of the"
                " hot-air tool are not taken off the heater's; see that both fit",
            )
        elif left_w < wanted_w:
            yield (
                "warning",
                place,
                f"the hot-air tool leaves {left_w:g} W of the socket's {socket.socket_w:g} W, and"
                f" the heater may take {wanted_w:g} W: from this stage on it gets"
                f" {left_w / socket.heater_w:.0%} of its power at most; plug the tool in elsewhere"
                " if that is too little to keep the temperature",
            )


AIR_RULES: tuple[Callable[[Case], Found], ...] = (
    _in_jet,
    _learned,
    _long,
    _waits_with_air,
    _socket,
)
