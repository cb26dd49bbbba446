"""What a chart of a run is made of: plain arrays and words, nothing of the store.

Seconds since the run's first record, degrees C, percent of full power; NaN is a gap.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

INK = "#010203"  # a colour nobody else uses; the finished picture has currentColor instead


@dataclass(frozen=True)
class Curve:
    """A named course; `values` in degrees C or percent, NaN where there is none. `role`: what a
    sensor is for."""

    name: str
    seconds: Sequence[float] | np.ndarray
    values: Sequence[float] | np.ndarray
    role: str = ""


@dataclass(frozen=True)
class Band:
    """A stage on the time axis; `short` stands for its name where there is no room."""

    name: str
    from_s: float
    to_s: float
    short: str = ""


@dataclass(frozen=True)
class Mark:
    """An event on the time axis; `label` is short, such as its number in a list."""

    label: str
    at_s: float


@dataclass(frozen=True)
class Flag:
    """A moment that a person named: a line of its own with its words at the top."""

    label: str
    at_s: float


@dataclass(frozen=True)
class Span:
    """A time in which something else was on; `kind` is one of SPAN_KINDS."""

    kind: Literal["hot air", "held"]
    from_s: float
    to_s: float


@dataclass(frozen=True)
class Limit:
    """A temperature that sensors must stay below; `name` says which, '' for all of them."""

    celsius: float
    name: str = ""
    until_air: bool = False  # once hot air is on it is wider


@dataclass(frozen=True)
class Shade:
    """Where the curve of this name may lie, in degrees C, and what it stands for in words."""

    curve: str
    seconds: Sequence[float] | np.ndarray
    low: Sequence[float] | np.ndarray
    high: Sequence[float] | np.ndarray
    words: str


SPAN_KINDS: tuple[str, ...] = ("hot air", "held")


@dataclass(frozen=True)
class Chart:
    """All that is drawn. `asked` is the setpoint, `measured` the sensors, `power` in percent."""

    measured: Sequence[Curve]
    asked: Curve | None = None
    power: Curve | None = None
    stages: Sequence[Band] = field(default=())
    events: Sequence[Mark] = field(default=())
    flags: Sequence[Flag] = field(default=())
    spans: Sequence[Span] = field(default=())
    shades: Sequence[Shade] = field(default=())
    limits: Sequence[Limit] = field(default=())
    title: str = "Temperatures and power over time"
    upright: str = "temperature"  # what the upright axis shows
