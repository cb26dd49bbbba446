"""The shape of a profile: keys, kinds, ranges and roles, as the file writes them.

Temperatures in degrees C, times in s, rates in degrees C per s, mass in g, lengths in mm, power in
W, all in the names. Numbers are strict: no booleans, no NaN, no infinity, no text. A Profile that
exists has a right shape and order; what it would do to a board is judged in `check`. A value that
is None was left out and is worked out from the rest (`timing`, `ceilings`, `marks`).
"""

from typing import Annotated, Any, Literal, get_args

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field
from pydantic import StringConstraints as _Text
from pydantic import model_validator as _model_validator

from emberbed.materials.book import (
    UNKNOWN,
    UnknownMaterial,
    find_alloy,
    find_flux,
    find_laminate,
    find_neighbour,
)
from emberbed.materials.standards import REVISIONS
from emberbed.plain_text import hidden_characters
from emberbed.profiles import limits
from emberbed.profiles.limits import RANGES, TEXTS
from emberbed.profiles.whole_rules import as_table, whole_mistakes
from emberbed_fw.messages import MARK_NAMES
from emberbed_fw.plan import MAX_STAGES
from emberbed_fw.settings import NAME_BYTES
from emberbed_fw.units import CHANNELS

Role = Literal["control", "edge", "chip_top", "neighbour", "emitter", "pair"]
Side = Literal["top", "underside"]
Expects = Literal["chip_off", "chip_on", "nothing"]
Fan = Literal["when_solid", "on_press", "never"]
Standard = Literal["J-STD-020D", "J-STD-020C"]
ROLES: tuple[str, ...] = get_args(Role)
MARKS = tuple(name.lower() for name in MARK_NAMES[1:])  # without NEXT, which is a question
CHOICES: dict[str, tuple[str, ...]] = {  # words of which a key holds one, or a list of some
    "role": ROLES,
    "side": get_args(Side),
    "expects": get_args(Expects),
    "fan": get_args(Fan),
    "standard": get_args(Standard),
    "marks": MARKS,
}
SENSOR_NAME = f"^[A-Za-z][A-Za-z0-9_-]{{0,{NAME_BYTES - 1}}}$"
SensorName = Annotated[str, _Text(pattern=SENSOR_NAME)]


def _limited(key: str, default: Any = ...) -> Any:
    return Field(default, ge=RANGES[key].least, le=RANGES[key].most)


def _shown_as_written(text: str) -> str:
    if hidden_characters(text) or not text.strip():
        raise ValueError("holds hidden characters or nothing at all")
    return text


def _in_book(find):
    def checked(name: str) -> str:
        try:
            find(name)
        except UnknownMaterial as unknown:
            raise ValueError(str(unknown)) from None  # a LookupError would pass through pydantic
        return name

    return AfterValidator(checked)


def _is_mark(name: str) -> str:
    if name not in MARKS:
        raise ValueError("is no event that can be marked")
    return name


Prompt = Annotated[str, _Text(max_length=TEXTS["prompt"]), AfterValidator(_shown_as_written)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class Board(_Strict):
    """What a kitchen scale and a ruler say about the board."""

    mass_g: float = _limited("mass_g")
    length_mm: float = _limited("length_mm")
    width_mm: float = _limited("width_mm")


class Chip(_Strict):
    """The package that is worked on: its body without balls, leads and heatsinks."""

    length_mm: float = _limited("length_mm")
    width_mm: float = _limited("width_mm")
    thickness_mm: float = _limited("thickness_mm")

    def volume_mm3(self) -> float:
        """Return the volume of its body."""
        return self.length_mm * self.width_mm * self.thickness_mm


class Accepted(_Strict):
    """A warning that a person accepts, with the reason; it counts for this revision only."""

    what: Annotated[str, _Text(max_length=TEXTS["what"]), AfterValidator(_shown_as_written)]
    of: Annotated[str, _Text(max_length=TEXTS["of"]), AfterValidator(_shown_as_written)]
    reason: Annotated[str, _Text(max_length=TEXTS["reason"]), AfterValidator(_shown_as_written)]


class Sensor(_Strict):
    """What a sensor is for, where it lies and what it may get."""

    role: Role
    limit_c: float | None = _limited("limit_c", None)
    pause_c: float | None = _limited("pause_c", None)
    partner: str | None = None
    in_jet: bool = False
    side: Side | None = None
    shielded: bool = False
    part: Annotated[str, _in_book(find_neighbour)] | None = None
    zone: int | None = _limited("zone", None)


class Ramp(_Strict):
    """To a temperature at a rate."""

    kind: Literal["ramp"]
    to_c: float = _limited("to_c")
    rate_c_per_s: float = _limited("rate_c_per_s")
    longest_s: float | None = _limited("longest_s", None)
    band_c: float = _limited("band_c", limits.DEFAULT_RAMP_BAND_C)
    hold_back_c: float = _limited("hold_back_c", limits.DEFAULT_HOLD_BACK_C)
    spread_c: float = _limited("spread_c", limits.DEFAULT_RAMP_SPREAD_C)


class Hold(_Strict):
    """Keep the temperature for a time that counts only inside the band."""

    kind: Literal["hold"]
    for_s: float = _limited("for_s")
    band_c: float = _limited("band_c", limits.DEFAULT_HOLD_BAND_C)
    needs: Annotated[list[str], Field(max_length=CHANNELS)] = []
    spread_c: float = _limited("spread_c", 0.0)
    longest_s: float | None = _limited("longest_s", None)


class Wait(_Strict):
    """Keep the temperature while a person does something and then says so."""

    kind: Literal["wait"]
    prompt: Prompt
    longest_s: float = _limited("longest_s")
    remind_s: float = _limited("remind_s", limits.DEFAULT_REMIND_S)
    marks: (
        Annotated[
            list[Annotated[str, AfterValidator(_is_mark)]], Field(max_length=limits.MOST_MARKS)
        ]
        | None
    ) = None


class HotAir(_Strict):
    """Hot air from above, begun and ended by a person, over the heater's learned soak power."""

    kind: Literal["hot_air"]
    prompt: Prompt = limits.DEFAULT_HOT_AIR_PROMPT
    expects: Expects = "nothing"
    longest_s: float = _limited("longest_s", limits.DEFAULT_HOT_AIR_S)
    start_within_s: float = _limited("start_within_s", limits.DEFAULT_START_WITHIN_S)
    remind_s: float = _limited("remind_s", limits.DEFAULT_REMIND_S)
    tool_w: float = _limited("tool_w", 0.0)


class Cool(_Strict):
    """Heat off, fan where allowed, until below a temperature."""

    kind: Literal["cool"]
    below_c: float = _limited("below_c")
    fastest_c_per_s: float = _limited("fastest_c_per_s")
    fan: Fan = "when_solid"


class Power(_Strict):
    """A fixed part of full power, open loop, to identify a heater: for a time, or to a limit."""

    kind: Literal["power"]
    percent: float = _limited("percent")
    for_s: float = _limited("for_s")
    limit_c: float = _limited("limit_c")
    zone: int | None = _limited("zone", None)


Stage = Ramp | Hold | Wait | HotAir | Cool | Power
STAGE_MODELS: dict[str, type[BaseModel]] = {
    "ramp": Ramp,
    "hold": Hold,
    "wait": Wait,
    "hot_air": HotAir,
    "cool": Cool,
    "power": Power,
}


class Profile(_Strict):
    """One profile, right in shape, ranges, roles and order of stages."""

    name: Annotated[str, _Text(max_length=TEXTS["name"]), AfterValidator(_shown_as_written)]
    alloy: Annotated[str, _in_book(find_alloy)]
    laminate: Annotated[str, _in_book(find_laminate)]
    flux: Annotated[str, _in_book(find_flux)] = UNKNOWN
    standard: Standard = REVISIONS[0]
    board: Board | None = None
    chip: Chip | None = None
    ceiling_c: float | None = _limited("ceiling_c", None)
    sensors: Annotated[
        dict[SensorName, Annotated[Sensor, BeforeValidator(as_table)]],
        Field(max_length=CHANNELS),
    ]
    stages: Annotated[
        list[Annotated[Stage, Field(discriminator="kind")]], Field(max_length=MAX_STAGES)
    ]

    accepted: Annotated[list[Accepted], Field(max_length=limits.MOST_ACCEPTED)] = []

    @_model_validator(mode="after")
    def _right_as_a_whole(self):
        stages = [stage.model_dump() for stage in self.stages]
        sensors = {name: sensor.model_dump() for name, sensor in self.sensors.items()}
        for _location, mistake in whole_mistakes(stages, sensors):
            raise ValueError(mistake)
        return self

    def control_sensor(self) -> str:
        """Return the name of the sensor the heater is controlled by."""
        return next(name for name, sensor in self.sensors.items() if sensor.role == "control")

    def has_hot_air(self) -> bool:
        """Tell whether hot air from above is part of it."""
        return any(isinstance(stage, HotAir) for stage in self.stages)

    def identifies(self) -> bool:
        """Tell whether it drives the heater open loop, to identify it."""
        return any(isinstance(stage, Power) for stage in self.stages)

    def ends(self) -> Cool:
        """Return the stage that ends it."""
        return next(stage for stage in self.stages if isinstance(stage, Cool))
