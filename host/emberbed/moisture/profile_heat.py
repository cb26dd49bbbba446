"""What a profile does to the moisture in a package, by its plan: temperatures and seconds.

Takes a profile's model; gives (degrees C, seconds) for the diffusion of a slab. Waits count as
nothing, as nobody knows how long they take, and hot air as its longest time at the board's
temperature: both err towards a wetter part.
"""

from collections.abc import Iterator

from emberbed.profiles.model import Cool, HotAir, Profile
from emberbed.profiles.timing import Span, spans
from emberbed_fw.units import TICKS_PER_S

STEP_C = 2.0  # a ramp is cut into pieces of this


def heating_of(profile: Profile) -> list[tuple[float, float]]:
    """Return what the control sensor's place gets until the cooling begins."""
    found = []
    for span in spans(profile):
        if isinstance(span.stage, Cool):
            break
        found += list(_pieces(span))
    return found


def _pieces(span: Span) -> Iterator[tuple[float, float]]:
    first_c, last_c = span.from_cdeg / 100, span.to_cdeg / 100
    ticks = span.longest_ticks if isinstance(span.stage, HotAir) else span.planned_ticks
    count = max(1, round(abs(last_c - first_c) / STEP_C))
    for number in range(count):
        level_c = first_c + (last_c - first_c) * (number + 0.5) / count
        yield level_c, ticks / TICKS_PER_S / count
