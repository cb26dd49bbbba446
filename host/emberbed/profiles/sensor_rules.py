"""The rules of `check` about sensors: where they lie, what they may get, which holds need them.

As in check_rules: each takes a Case and yields (severity, location, sentence).
"""

from collections.abc import Callable

from emberbed.profiles import limits
from emberbed.profiles.channels import channel_mistakes
from emberbed.profiles.check_case import Case, Found
from emberbed.profiles.model import Hold, Ramp, Sensor

TELLS_SPREAD = ("control", "edge", "pair")  # roles; as emberbed_fw.plan.Plan.tells_spread


def _device(case: Case) -> Found:
    if not any(case.channel_names):
        return
    mistaken = set()
    for location, sentence in channel_mistakes(
        case.profile, case.channel_names, case.ceilings_cdeg
    ):
        mistaken.add(location[1])
        yield "error", location, sentence
    for name, location, sensor in case.sensors():
        if sensor.role in ("emitter", "neighbour") or name in mistaken:
            continue
        ceiling_c = case.ceilings_cdeg[list(case.channel_names).index(name)] / 100
        if case.peak_c() + limits.CEILING_ROOM.value > ceiling_c:
            yield (
                "warning",
                location,
                f"the device takes the heat away at {ceiling_c:g} °C at {name}, and the peak of"
                f" {case.peak_c():g} °C leaves less than {limits.CEILING_ROOM.value:g} °C"
                f" ({limits.CEILING_ROOM.source}); lower the peak",
            )


def _control_place(case: Case) -> Found:
    name = case.profile.control_sensor()
    sensor = case.profile.sensors[name]
    if sensor.side != "underside":
        return
    if sensor.shielded:
        yield (
            "note",
            ("sensors", name),
            f"{name} controls the heat from the underside: see that its shield really keeps the"
            " emitters' radiation off, or the board stays colder than it says"
            " (common practice, no source)",
        )
        return
    yield (
        "error",
        ("sensors", name, "side"),
        "it controls, and on the underside it looks into the emitters and may read high, so the"
        " board would stay colder than it says (common practice, no source); put it on the top,"
        " 5 to 10 mm from the chip, or shield it and write shielded = true",
    )


def _alone(case: Case) -> Found:
    on_board = [sensor for sensor in case.profile.sensors.values() if sensor.role != "emitter"]
    if len(on_board) == 1:
        yield (
            "note",
            ("sensors",),
            "one sensor alone cannot show how even the board is, or that it has come off itself;"
            " two are recommended, the second at the edge (common practice, no source)",
        )


def _own_limits(case: Case) -> Found:
    peak_c = case.peak_c()
    for _name, location, sensor in case.sensors():
        limit_c = sensor.limit_c
        if limit_c is None or sensor.role == "emitter":
            continue
        place = (*location, "limit_c")
        if sensor.role == "neighbour":
            if limit_c < peak_c - limits.NEIGHBOUR_ROOM.value:
                yield (
                    "warning",
                    place,
                    f"it may get {limit_c:g} °C and the peak is {peak_c:g} °C: the ramp will"
                    f" stand still for it ({limits.NEIGHBOUR_ROOM.source}); take it off, shield it,"
                    " or lower the peak",
                )
        elif limit_c < peak_c + limits.CEILING_ROOM.value:
            yield (
                "error" if sensor.role == "control" and limit_c < peak_c else "warning",
                place,
                f"heat goes off at {limit_c:g} °C there, and the peak of {peak_c:g} °C leaves less"
                f" than {limits.CEILING_ROOM.value:g} °C ({limits.CEILING_ROOM.source}); write"
                f" {peak_c + limits.CEILING_ROOM.value:g} or more, or lower the peak",
            )


def _needs(case: Case) -> Found:
    for location, hold in case.holds():
        for index, name in enumerate(hold.needs):
            if case.profile.sensors[name].role == "emitter":
                yield (
                    "error",
                    (*location, "needs", index),
                    f"{name} is on the heater, which is far hotter than any hold; name sensors on"
                    " the board",
                )


def _spread(case: Case) -> Found:
    telling = [one for one in case.profile.sensors.values() if _tells_spread(one)]
    if len(telling) > 1:
        return
    for span in case.spans:
        stage = span.stage
        if not isinstance(stage, (Ramp, Hold)) or "spread_c" not in stage.model_fields_set:
            continue
        if stage.spread_c > 0:
            yield (
                "warning",
                ("stages", span.index, "spread_c"),
                "it takes two sensors away from the hot air to see how even the board is, with the"
                f" roles {', '.join(TELLS_SPREAD)}; add one, or leave spread_c out",
            )


def _tells_spread(sensor: Sensor) -> bool:
    return sensor.role in TELLS_SPREAD and not sensor.in_jet


SENSOR_RULES: tuple[Callable[[Case], Found], ...] = (
    _device,
    _control_place,
    _alone,
    _own_limits,
    _needs,
    _spread,
)
