"""Who follows a survey while it runs: takes each point's mean once its reading is steady.

A watcher of the run (bench/watcher): it sees stored records, and asks the device for the next stage
as soon as a point is measured, in a script's name. On the simulated heater it also sets the roving
bead down where the prompt says. Decides nothing about heat. Ticks, and degrees C in the results.
"""

from collections import deque
from collections.abc import Iterable, Sequence
from statistics import fmean
from typing import NamedTuple

import numpy as np

from emberbed.bench.progress import Progress
from emberbed.bench.virtual import VirtualDevice
from emberbed.bench.watcher import Begun
from emberbed.bench.wishes import Touch, Wish
from emberbed.records import TickRecord
from emberbed.store.runs import RunEvent
from emberbed.survey.guided import channels_of, point_of
from emberbed.survey.points import Point
from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_fw.units import TICKS_PER_S

WINDOW_TICKS = 15 * TICKS_PER_S  # a mean over it; two after one another are compared
STEADY_C = 0.2  # between the two; the converter's step is 0.25
SPARE_TICKS = 10 * TICKS_PER_S  # of a stage: later than that it ends by itself


class Measured(NamedTuple):
    """Means at one point; `moved_c` is how far the last two windows are apart."""

    roving_c: float
    control_c: float
    moved_c: float

    @property
    def steady(self) -> bool:
        return abs(self.moved_c) <= STEADY_C


class _Reading(NamedTuple):
    tick: int
    roving_c: float
    control_c: float


class Rover:
    """Follows the points of a survey; `found` has what was measured, by point."""

    source = messages.BY_SCRIPT

    def __init__(self, points: Sequence[Point], board_mm: tuple[float, float], roving: str | None):
        self.points = points
        self.found: dict[int, Measured] = {}
        self._middle_mm = board_mm[0] / 2, board_mm[1] / 2
        self._asked_roving = roving
        self._virtual: VirtualDevice | None = None
        self._roving = self._control = 0  # channels
        self._stage = -1
        self._readings: deque[_Reading] = deque()
        self._asked_stage = -1  # of the newest wish to go on

    def begins(self, begun: Begun) -> None:
        """Take what is about to be armed."""
        fixed, roving = channels_of(begun.description, self._asked_roving)
        numbers = {name: number for number, name in begun.description.fitted_names().items()}
        self._control, self._roving = numbers[fixed], numbers[roving]
        self._virtual = begun.virtual

    def catch_up(self, records: Iterable[TickRecord], events: Iterable[RunEvent]) -> None:
        """A survey is never taken over: it begins with its own run."""

    def show(self, record: TickRecord) -> None:
        """Take the newest stored record."""
        if record.state not in rs.STAGED_STATES:
            return
        at = point_of(record.stage, len(self.points))
        if record.stage != self._stage:
            self._stage = record.stage
            self._readings.clear()
            if at is not None and not at[1]:
                self._set_down(at[0])
        if at is not None and at[1]:
            self._measure(at[0], record)

    def wishes(self, record: TickRecord, progress: Progress) -> list[Wish]:
        """Return the wish to go on where the point is measured; too late in a hold there is none,
        as it would end the wait for the next point instead."""
        at = point_of(record.stage, len(self.points))
        if at is None or not at[1] or record.stage == self._asked_stage:
            return []
        found = self.found.get(at[0])
        left_ticks = progress.planned_ticks() - record.stage_tick
        if found is None or not found.steady or left_ticks < SPARE_TICKS:
            return []
        self._asked_stage = record.stage
        return [Touch(messages.NEXT_STAGE, 0, self.source)]

    def tell(self, tick: int | None, kind: str, sentence: str) -> None:
        """Nothing that is told matters here."""

    def turn_over(self, run_id: int) -> None:
        """A run that goes on measures the point anew in which it was left."""
        self._stage = self._asked_stage = -1

    def stops(self) -> int:
        return 0

    def forget_stops(self) -> None:
        """It never stops anything."""

    def rows(self) -> np.ndarray:
        """Return x, y, temperature, control of each measured point, in order."""
        return np.array(
            [(*self.points[n], one.roving_c, one.control_c) for n, one in self._in_order()], float
        ).reshape(-1, 4)

    def unsteady(self) -> list[str]:
        """Return what must be said of points that were still moving, a sentence each."""
        return [
            f"Point {n + 1} still moved by {one.moved_c:+.1f} °C in {WINDOW_TICKS // TICKS_PER_S} s"
            " when its time was up: press the couple down there and survey again."
            for n, one in self._in_order()
            if not one.steady
        ]

    def _in_order(self) -> Iterable[tuple[int, Measured]]:
        return sorted(self.found.items())

    def _set_down(self, point: int) -> None:
        if self._virtual is not None:
            x_mm, y_mm = self.points[point]
            from_middle = x_mm - self._middle_mm[0], y_mm - self._middle_mm[1]
            self._virtual.place(self._roving, *from_middle)

    def _measure(self, point: int, record: TickRecord) -> None:
        """Take a reading of both couples; the mean that was steady first stays."""
        if point in self.found and self.found[point].steady:
            return
        roving, control = record.channel_cdeg(self._roving), record.channel_cdeg(self._control)
        if roving is None or control is None:
            self._readings.clear()  # from now on anew
            return
        self._readings.append(_Reading(record.tick, roving / 100, control / 100))
        begun_tick = self._readings[0].tick
        while self._readings[0].tick <= record.tick - 2 * WINDOW_TICKS:
            self._readings.popleft()
        middle_tick = record.tick - WINDOW_TICKS
        early = [one.roving_c for one in self._readings if one.tick <= middle_tick]
        late = [one for one in self._readings if one.tick > middle_tick]
        if early and record.tick - begun_tick >= 2 * WINDOW_TICKS:
            roving_c = fmean(one.roving_c for one in late)
            control_c = fmean(one.control_c for one in late)
            self.found[point] = Measured(roving_c, control_c, roving_c - fmean(early))
