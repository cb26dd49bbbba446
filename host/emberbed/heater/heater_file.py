"""The heater file: an identified heater as TOML, and optionally the gains tuned for it.

`write` makes the text, `read_heater` takes it back, strictly: a file that was changed by hand
into something else is refused with one sentence per mistake (`HeaterMistakes`). Numbers are those
of model_parameters; `[uncertainty]` keeps their covariance on the fit's scale, for whoever draws
heaters that are as likely as this one.
"""

import tomllib
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from emberbed.heater.default_gains import Gains
from emberbed.heater.heat_model import Heater, heater_of
from emberbed.heater.heater_mistakes import sentences_of
from emberbed.heater.model_parameters import BY_NAME, PARAMETERS, to_fit
from emberbed.plain_text import printable
from emberbed.profiles.zones import Coupling
from emberbed_fw.plan import MAX_FILTER_SHIFT, MAX_PREVIEW_TICKS
from emberbed_fw.units import ZONES

FORMAT = 1
MOST_BYTES = 256 * 1024
LEAST_UNSEEN_PERCENT = 90.0  # our choice; a first-order model of the open data scores 69
KNOWN = [parameter.name for parameter in PARAMETERS]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Finite = Annotated[float, Field(allow_inf_nan=False)]


class HeaterMistakes(Exception):
    """A heater file that cannot be used; `sentences` names every mistake."""

    def __init__(self, sentences: list[str]) -> None:
        super().__init__("\n".join(sentences))
        self.sentences = sentences


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Source(_Table):
    """Where the numbers come from."""

    file: str
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    rows: Annotated[int, Field(ge=1)]
    fitted_rows: Annotated[int, Field(ge=1)]
    drive: str
    temperature: str


class Scale(_Table):
    """What full power is: in the unit of the drive, and in watts where that is known."""

    full_drive: Positive
    full_power_w: Positive | None = None


class Number(_Table):
    """One number of the heater with its 95 % interval."""

    value: Finite
    low: Finite
    high: Finite
    from_data: bool


class Quality(_Table):
    """How well the heater's numbers repeat what was measured."""

    percent_fitted: Finite
    percent_unseen: Finite | None = None
    rms_c: Annotated[float, Field(ge=0, allow_inf_nan=False)]
    correlation: Annotated[float, Field(ge=0, lt=1)]
    start: str
    lowest_c: Finite
    highest_c: Finite

    @property
    def earned(self) -> bool:
        """Tell whether runs may be planned by these numbers: they foretell what they have not
        seen."""
        return self.percent_unseen is not None and self.percent_unseen >= LEAST_UNSEEN_PERCENT


class Uncertainty(_Table):
    """Covariance of the numbers `names` on the fit's scale."""

    names: list[str]
    covariance: list[list[Finite]]

    @model_validator(mode="after")
    def _square(self) -> "Uncertainty":
        size = len(self.names)
        if any(name not in BY_NAME for name in self.names):
            raise ValueError("names holds what is no number of a heater")
        if len(self.covariance) != size or any(len(row) != size for row in self.covariance):
            raise ValueError("covariance is not square with a row for each of names")
        return self


class TunedGains(_Table):
    """Gains in bench units, as default_gains.Gains holds them."""

    rule: str
    kp_per_k: Annotated[float, Field(ge=0, allow_inf_nan=False)]
    ki_per_k_s: Annotated[float, Field(ge=0, allow_inf_nan=False)]
    kd_s_per_k: Annotated[float, Field(ge=0, allow_inf_nan=False)]
    setpoint_weight: Annotated[float, Field(ge=0, le=1)]
    filter_shift: Annotated[int, Field(ge=0, le=MAX_FILTER_SHIFT)]
    preview_ticks: Annotated[int, Field(ge=0, le=MAX_PREVIEW_TICKS)]

    def gains(self) -> Gains:
        return Gains(**self.model_dump(exclude={"rule"}))


class ZoneTable(_Table):
    """How the zones of a heater warm its sensors; what steers each zone stands first."""

    watts: list[Annotated[int, Field(gt=0)]]
    sensors: list[str]
    rise_k_per_s: list[list[Annotated[float, Field(ge=0, allow_inf_nan=False)]]]
    rms_c: Annotated[float, Field(ge=0, allow_inf_nan=False)]

    @model_validator(mode="after")
    def _fits(self) -> "ZoneTable":
        sensors, zones = len(self.sensors), len(self.watts)
        if not 2 <= zones <= min(sensors, ZONES):
            raise ValueError(f"zones have 2 to {ZONES} watts, and a sensor each")
        rows = {len(row) for row in self.rise_k_per_s}
        if len(self.rise_k_per_s) != sensors or rows != {zones}:
            raise ValueError("rise_k_per_s has not a row for each sensor, a number for each zone")
        return self

    def coupling(self) -> Coupling:
        return Coupling(tuple(self.sensors), tuple(tuple(row) for row in self.rise_k_per_s))


class HeaterFile(_Table):
    """A whole heater file."""

    format: Literal[1]
    made: datetime
    source: Source
    scale: Scale
    fit: Quality
    parameters: dict[str, Number]
    uncertainty: Uncertainty
    gains: TunedGains | None = None
    zones: ZoneTable | None = None

    @property
    def values(self) -> dict[str, float]:
        """Return the numbers by name; a drive in proportion to heat has the exponent 1."""
        return {"drive_exponent": 1.0} | {
            name: number.value for name, number in self.parameters.items()
        }

    def physics(self) -> Heater:
        """Return the heater in SI; in parts of full power where its watts are not known."""
        return heater_of(self.values, self.scale.full_power_w or 1.0)

    def drawn(self, count: int, seed: int) -> list[dict[str, float]]:
        """Return numbers of heaters that are as likely as this one, clipped to what is allowed."""
        names = self.uncertainty.names
        centre = np.array([to_fit(BY_NAME[name], self.parameters[name].value) for name in names])
        chance = np.random.default_rng(seed)
        draws = chance.multivariate_normal(centre, self.uncertainty.covariance, count, "ignore")
        return [
            self.values | {name: _back(name, value) for name, value in zip(names, row, strict=True)}
            for row in draws
        ]


def _back(name: str, fitted: float) -> float:
    parameter = BY_NAME[name]
    value = float(np.exp(fitted)) if parameter.logarithmic else float(fitted)
    return min(max(value, parameter.least), parameter.most)


def read_heater(path: Path) -> HeaterFile:
    """Read a heater file, or raise HeaterMistakes."""
    return parse_heater(read_text(path), printable(path, 200))


def read_text(path: Path) -> str:
    """Return a heater file's text, or raise HeaterMistakes."""
    shown = printable(path, 200)
    try:
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as refused:
        why = getattr(refused, "strerror", None) or "this name cannot be a file name"
        raise HeaterMistakes([f"{shown} cannot be read ({why}); name a heater file"]) from None
    if len(raw) > MOST_BYTES:
        raise HeaterMistakes([f"{shown} is too long for a heater file; name another file"])
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise HeaterMistakes([f"{shown} is not UTF-8 text; identify the heater again"]) from None


def parse_heater(text: str, shown: str) -> HeaterFile:
    """Take a heater file's text apart; `shown` is what sentences call it."""
    data = _data_of(text, shown)
    if data.get("format") != FORMAT:
        raise HeaterMistakes(
            [
                f"{shown}: format is {printable(data.get('format'), 20)} and this program reads"
                f" {FORMAT}; identify the heater again, or use the program that wrote it"
            ]
        )
    try:
        heater = HeaterFile.model_validate(data)
    except ValidationError as errors:
        raise HeaterMistakes(sentences_of(errors, text, shown)) from None
    mistakes = [f"{shown}: {sentence}" for sentence in _wrong_numbers(heater)]
    if mistakes:
        raise HeaterMistakes(mistakes)
    return heater


def _data_of(text: str, shown: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as bad:
        raise HeaterMistakes(
            [f"{shown}: this is no TOML ({printable(bad, 80)}); identify the heater again"]
        ) from None


def _wrong_numbers(heater: HeaterFile) -> list[str]:
    """Return a sentence for every number that is unknown, missing or out of its range."""
    optional = {"drive_exponent"}
    found = [
        f"parameters: {name} is missing; identify the heater again"
        for name in KNOWN
        if name not in heater.parameters and name not in optional
    ]
    for name, number in heater.parameters.items():
        if name not in BY_NAME:
            found.append(f"parameters: {printable(name)} is not known; take it out")
            continue
        least, most = BY_NAME[name].least, BY_NAME[name].most
        if not least * (1 - 1e-6) <= number.value <= most * (1 + 1e-6):
            unit = BY_NAME[name].unit
            found.append(
                f"parameters: {name} = {number.value:g} is outside {least:g} to {most:g} {unit}"
            )
    if set(heater.uncertainty.names) - set(heater.parameters):
        found.append("uncertainty: names holds more than parameters; identify the heater again")
    return found
