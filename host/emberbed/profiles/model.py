"""The shape of a profile: keys, kinds, ranges and roles, as the file writes them.

Temperatures in degrees C, times in s, rates in degrees C per s, mass in g, lengths in mm, all in
the names. Numbers are strict: no booleans, no NaN, no infinity, no text. A Profile that exists has
a right shape and order; what it would do to a board is judged in `check`.
"""

from typing import Annotated, Any, Literal, get_args

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints
from pydantic import model_validator as _model_validator

from emberbed.materials.book import UnknownMaterial, find_alloy, find_laminate
from emberbed.plain_text import hidden_characters
from emberbed.profiles.limits import RANGES, TEXTS
from emberbed.profiles.whole_rules import whole_mistakes
from emberbed_fw.plan import MAX_STAGES
from emberbed_fw.settings import NAME_BYTES
from emberbed_fw.units import CHANNELS

Role = Literal["control", "edge", "chip_top", "neighbour", "emitter", "pair"]
ROLES: tuple[str, ...] = get_args(Role)
SENSOR_NAME = f"^[A-Za-z][A-Za-z0-9_-]{{0,{NAME_BYTES - 1}}}$"


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


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class Board(_Strict):
    """What a kitchen scale and a ruler say about the board."""

    mass_g: float = _limited("mass_g")
    length_mm: float = _limited("length_mm")
    width_mm: float = _limited("width_mm")


class Ramp(_Strict):
    """To a temperature at a rate."""

    kind: Literal["ramp"]
    to_c: float = _limited("to_c")
    rate_c_per_s: float = _limited("rate_c_per_s")
    longest_s: float | None = _limited("longest_s", None)
    band_c: float | None = _limited("band_c", None)
    hold_back_c: float | None = _limited("hold_back_c", None)


class Hold(_Strict):
    """Keep the temperature for a time that counts only inside the band."""

    kind: Literal["hold"]
    for_s: float = _limited("for_s")
    band_c: float | None = _limited("band_c", None)
    longest_s: float | None = _limited("longest_s", None)


class Wait(_Strict):
    """Keep the temperature while a person does something and then says so."""

    kind: Literal["wait"]
    prompt: Annotated[
        str, StringConstraints(max_length=TEXTS["prompt"]), AfterValidator(_shown_as_written)
    ]
    longest_s: float = _limited("longest_s")
    remind_s: float | None = _limited("remind_s", None)


class Cool(_Strict):
    """Heat off, fan where allowed, until below a temperature."""

    kind: Literal["cool"]
    below_c: float = _limited("below_c")
    fastest_c_per_s: float = _limited("fastest_c_per_s")


Stage = Ramp | Hold | Wait | Cool
STAGE_MODELS: dict[str, type[BaseModel]] = {"ramp": Ramp, "hold": Hold, "wait": Wait, "cool": Cool}
NOT_OFFERED = ("hot_air", "power")  # kinds of the trade that this firmware version refuses


class Profile(_Strict):
    """One profile, right in shape, ranges, roles and order of stages."""

    name: Annotated[
        str, StringConstraints(max_length=TEXTS["name"]), AfterValidator(_shown_as_written)
    ]
    alloy: Annotated[str, _in_book(find_alloy)]
    laminate: Annotated[str, _in_book(find_laminate)]
    board: Board
    sensors: Annotated[
        dict[Annotated[str, StringConstraints(pattern=SENSOR_NAME)], Role],
        Field(max_length=CHANNELS),
    ]
    stages: Annotated[
        list[Annotated[Stage, Field(discriminator="kind")]], Field(max_length=MAX_STAGES)
    ]

    @_model_validator(mode="after")
    def _right_as_a_whole(self):
        for _location, mistake in whole_mistakes([s.kind for s in self.stages], self.sensors):
            raise ValueError(mistake)
        return self

    def control_sensor(self) -> str:
        """Return the name of the sensor the heater is controlled by."""
        return next(name for name, role in self.sensors.items() if role == "control")

    def ends_below_c(self) -> float:
        """Return the temperature below which the run ends, if the device's own is not lower."""
        return next(stage.below_c for stage in self.stages if isinstance(stage, Cool))
