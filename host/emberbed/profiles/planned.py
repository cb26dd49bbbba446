"""What a planner gives to the compiler: stages in time, and setpoints and power within them."""

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from emberbed.profiles.model import Profile
from emberbed.profiles.stage_rows import Knot
from emberbed.profiles.timing import Span
from emberbed.profiles.tool_power import Socket


class Planned(NamedTuple):
    """`spans` of all stages, a ramp longer where the heater needs it; `courses` by stage number."""

    spans: list[Span]
    courses: Mapping[int, Sequence[Knot]]


Planner = Callable[[Profile, Socket], Planned]
