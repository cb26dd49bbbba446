"""Take one point on a device: follow a bead until it stands still at a known temperature.

Nothing is armed and nothing heats. Readings are taken back to what they were without calibration.
`show` gets a line about once a second. Raises NotReady with the reason and the mend: not steady,
not in the bath, another channel's bead in it.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import hypot
from statistics import fmean

from emberbed.bench.prepare import NotReady
from emberbed.bench.touch_test import resting_records
from emberbed.calibration import steadiness
from emberbed.calibration.budget import CONVERTERS
from emberbed.calibration.fixed_points import RECTANGULAR, Reference
from emberbed.calibration.line import Line, Point
from emberbed.calibration.steadiness import Course, SteadyWindow
from emberbed.device_description import DeviceDescription
from emberbed.link.device import Device
from emberbed.records import TickRecord
from emberbed_fw.units import TICKS_PER_S

Show = Callable[[str], None]
# Wire, converter and cold end of the worst sound couple are off by 6.5 K together.
NEAR_K = 15.0
MOVED_K = 5.0  # by which another bead must have gone to be the one in the bath
START_TICKS = TICKS_PER_S  # a bead in water has gone far by its end, one beside it nowhere
LONGEST_MELT_S = 240.0
NO_READING = "it gave no whole window of readings (a MAX6675 gives none below 0 °C)"


@dataclass(frozen=True)
class Couple:
    """The channel that is calibrated."""

    device: Device
    description: DeviceDescription
    channel: int

    @property
    def name(self) -> str:
        return self.description.fitted_names()[self.channel]

    @property
    def held(self) -> Line:
        """The calibration that the device holds now."""
        channel = self.description.channels[self.channel]
        return Line(channel.offset_cdeg, channel.gain_q12, 0.0)

    @property
    def converter(self) -> str:
        return self.description.channels[self.channel].converter

    def point(self, reference: Reference, read_c: float) -> Point:
        """Return the pair, with the errors of both its sides."""
        step_k = CONVERTERS[self.converter].step_k
        standard_k = hypot(reference.standard_k, step_k / 2 / RECTANGULAR)
        return Point(reference.name, reference.true_c, read_c, standard_k)

    def bare_c(self, record: TickRecord) -> float | None:
        """Return the reading without its calibration."""
        cdeg = record.channel_cdeg(self.channel)
        return None if cdeg is None else self.held.read_of(cdeg / 100)

    def readings(self, longest_s: float) -> Iterator[tuple[float, TickRecord, float | None]]:
        """Give (s since the first, record, reading) tick by tick."""
        first = None
        for record in resting_records(self.device, round(longest_s * TICKS_PER_S)):
            first = record.tick if first is None else first
            yield (record.tick - first) / TICKS_PER_S, record, self.bare_c(record)


def steady_point(couple: Couple, reference: Reference, show: Show) -> Point:
    """Wait until the bead stands still, and return where."""
    course, others = _wait(couple, show)
    if abs(course.mean_c - reference.true_c) > NEAR_K:
        raise NotReady([_elsewhere(couple, reference, course, others)])
    return couple.point(reference, course.mean_c)


def melt_point(couple: Couple, reference: Reference, show: Show) -> Point:
    """Watch solder freeze around the bead, and return where it stood."""
    found: list[tuple[float, float]] = []
    plateau: Course | None = None
    for at_s, _record, read_c in couple.readings(LONGEST_MELT_S):
        if read_c is None:
            continue
        found.append((at_s, read_c))
        if len(found) % TICKS_PER_S == 0:
            show(f"{couple.name}: {read_c:.1f} °C, {at_s:.0f} s")
        if len(found) % (5 * TICKS_PER_S) == 0:
            plateau = steadiness.find_plateau(found, reference.true_c)
            if plateau is not None:
                return couple.point(reference, plateau.mean_c)
    raise NotReady(
        [
            f"{couple.name} never stood still near {reference.true_c:g} °C: melt more solder around"
            " the bead, take the iron away, and let it freeze without moving it"
        ]
    )


@dataclass(frozen=True)
class _Other:
    """Another fitted couple: its first and its last reading."""

    name: str
    first_c: float
    last_c: float


def _wait(couple: Couple, show: Show) -> tuple[Course, list[_Other]]:
    """Return the steady course, and how the other couples went meanwhile."""
    window = SteadyWindow()
    records: list[TickRecord] = []
    for at_s, record, read_c in couple.readings(steadiness.LONGEST_S):
        window.add(at_s, read_c)
        records.append(record)
        if record.tick % TICKS_PER_S == 0:
            show(_live(couple.name, read_c, window.course))
        if window.steady:
            assert window.course is not None
            return window.course, _others(couple, records)
    what = NO_READING if window.course is None else window.course.doubt()
    raise NotReady(
        [
            f"{couple.name} is not steady after {steadiness.LONGEST_S:.0f} s: {what}; keep the bead"
            " still in the middle, stir ice or let the water boil, and begin again"
        ]
    )


def _live(name: str, read_c: float | None, course: Course | None) -> str:
    if read_c is None:
        return f"{name}: no reading"
    if course is None:
        return f"{name}: {read_c:.1f} °C"
    return f"{name}: {read_c:.1f} °C, {course.slope:+.1f} °C/min, {course.seconds:.0f} s watched"


def _others(couple: Couple, records: list[TickRecord]) -> list[_Other]:
    found = []
    for number, name in couple.description.fitted_names().items():
        if number == couple.channel or not couple.description.channels[number].has_couple:
            continue
        read_c = [c / 100 for one in records if (c := one.channel_cdeg(number)) is not None]
        if len(read_c) > START_TICKS:
            found.append(_Other(name, fmean(read_c[:2]), fmean(read_c[-START_TICKS:])))
    return found


def _elsewhere(couple: Couple, reference: Reference, course: Course, others: list[_Other]) -> str:
    """Say why the bead is not in the bath, as well as can be told."""
    for other in others:
        near = abs(other.last_c - reference.true_c) <= NEAR_K
        if near and abs(other.last_c - other.first_c) >= MOVED_K:
            return (
                f"{other.name} is in {reference.told} ({other.last_c:.1f} °C), {couple.name} reads"
                f" {course.mean_c:.1f} °C: the two beads or their plugs are swapped"
            )
    return (
        f"{couple.name} reads {course.mean_c:.1f} °C, too far from {reference.true_c:.1f} °C for"
        f" any sound couple: put its bead into {reference.told}, or look at its plug and type"
    )
