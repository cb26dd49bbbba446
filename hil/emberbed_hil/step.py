"""What a step of acceptance is, and what it may find."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from emberbed_fw.settings import Settings
from emberbed_hil.bench import Bench

MS = "ms"


class Found(NamedTuple):
    """What a step found. `measured` is held against `limit` where both are numbers."""

    said: str
    measured: float | None = None
    limit: float | None = None
    unit: str = ""

    @property
    def is_inside(self) -> bool:
        return self.measured is None or self.limit is None or self.measured <= self.limit


def fits_any(_settings: Settings) -> str:
    """Every device can show it."""
    return ""


@dataclass(frozen=True)
class Step:
    """One step. `fits` says in a few words why a device cannot show it, "" if it can."""

    number: str  # in the order in which trust is built
    title: str
    act: Callable[[Bench], Found]
    checks: tuple[str, ...] = ()  # of hazards.toml
    modules: tuple[str, ...] = ()  # of the firmware, besides those of its checks
    fits: Callable[[Settings], str] = fits_any
    resets: bool = False  # the device starts anew in it
    by_hand: bool = False  # somebody, or the virtual device, must do it at the bench
    is_long: bool = False  # left out of a re-acceptance
