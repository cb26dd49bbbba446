"""A survey as a run: warm up, let the surroundings follow, then for each point a wait and a hold.

`SurveyRun` becomes a profile on a device, written as text and read as any other, so that it passes
the same checks and the run's record shows it. The roving couple stands in no role: no rule minds
that it is lifted and set down, and its readings are recorded all the same. `stage_of` and
`point_of` say which stage belongs to which point. Temperatures in degrees C, times in s.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from emberbed.bench.prepare import NotReady
from emberbed.device_description import DeviceDescription
from emberbed.heater.step_test import board_and_heater
from emberbed.materials.book import UNKNOWN
from emberbed.plain_text import did_you_mean, printable
from emberbed.profiles.limits import HANDLING_C, RANGES
from emberbed.profiles.plain_hold import (
    FASTEST_C_PER_S,
    head_lines,
    quoted,
    roles_of,
    warm_up_lines,
)
from emberbed.profiles.reader import ProfileFile, ProfileMistakes, parse_profile
from emberbed.survey.points import Point
from emberbed.survey.positions import LEAST_HOT_C

USUAL_HOLD_C = 100.0  # well above the room, below where the solder or the laminate minds
MOST_HOLD_C = RANGES["to_c"].most
SETTLE_S = 600  # the lag of a housing, simulated and on open data, is 5 to 7 min
MOVE_S = 300  # to set the couple down; then the heat goes off
MEASURE_S = 180  # at most; it goes on as soon as the reading is steady
_FIRST = 2  # the stage of the first point's wait: after a ramp and a hold


def stage_of(point: int) -> int:
    """Return the stage that asks for a point (from 0); the next one measures it."""
    return _FIRST + 2 * point


def point_of(stage: int, points: int) -> tuple[int, bool] | None:
    """Return the point of a stage and whether it is measured in it; None outside all points."""
    number, measures = divmod(stage - _FIRST, 2)
    return (number, bool(measures)) if 0 <= number < points else None


def channels_of(description: DeviceDescription, roving: str | None) -> tuple[str, str]:
    """Return the names of the fixed couple, which controls, and of the roving one.

    The first one on the board stays, the second roves if none is named. Raises NotReady.
    """
    on_board, _on_heater = board_and_heater(description)
    if len(on_board) < 2:
        raise NotReady(
            [
                "A survey needs two couples on the board, one that stays and one that roves: this"
                f" device has {len(on_board)}"
            ]
        )
    if roving is None:
        return on_board[0], on_board[1]
    if roving not in on_board:
        mend = did_you_mean(roving, on_board, "write one of")
        raise NotReady([f"--roving {printable(roving)} is no couple on the board; {mend}"])
    return next(name for name in on_board if name != roving), roving


@dataclass(frozen=True)
class SurveyRun:
    """What is asked for; `on` a device it becomes a profile."""

    hold_c: float
    points: Sequence[Point]
    roving: str | None = None
    alloy: str = UNKNOWN
    laminate: str = UNKNOWN

    def on(self, description: DeviceDescription) -> ProfileFile:
        """Return it as a profile of this device's sensors."""
        fixed, roving = channels_of(description, self.roving)
        on_board, on_heater = board_and_heater(description)
        others = [name for name in on_board if name not in (fixed, roving)]
        roles = {**roles_of([fixed, *others]), **dict.fromkeys(on_heater, "emitter")}
        name = f"Survey at {self.hold_c:g} °C"
        lines = [
            *head_lines(name, self.alloy, self.laminate, roles),
            *warm_up_lines(self.hold_c, self.hold_c),
            *_hold_lines(SETTLE_S),
        ]
        for number, point in enumerate(self.points, 1):
            lines += _wait_lines(
                f"Move couple {roving} to point {number} of {len(self.points)}:"
                f" x {point.x_mm:g}, y {point.y_mm:g} mm"
            )
            lines += _hold_lines(MEASURE_S)
        lines += ["[[stages]]", 'kind = "cool"', f"below_c = {HANDLING_C:g}"]
        lines += [f"fastest_c_per_s = {FASTEST_C_PER_S:g}", ""]
        try:
            return parse_profile("\n".join(lines).encode(), name)
        except ProfileMistakes as mistakes:
            raise NotReady(mistakes.sentences) from None


def hold_mistake(hold_c: float) -> str | None:
    """Return why no survey is made at a temperature, or None."""
    if LEAST_HOT_C <= hold_c <= MOST_HOLD_C:
        return None
    return f"--hold {hold_c:g} is out of range: give {LEAST_HOT_C:g} to {MOST_HOLD_C:g} °C"


def _hold_lines(for_s: float) -> list[str]:
    return ["[[stages]]", 'kind = "hold"', f"for_s = {for_s:g}", ""]


def _wait_lines(prompt: str) -> list[str]:
    return [
        "[[stages]]",
        'kind = "wait"',
        f"prompt = {quoted(prompt)}",
        f"longest_s = {MOVE_S}",
        "",
    ]
