"""How each stage of a run really went, as far as a person had a hand in it. From the record alone.

Takes decoded records in tick order and what the device was told to do; gives one StageCourse for
each stage that was begun. Times in ticks by the stage's own clocks, so that missing records do no
harm; temperatures in degrees C, as the control sensor read them, a person's shift included.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

from emberbed.profiles.compile import Plan
from emberbed.records import TickRecord
from emberbed.report.deed_kinds import STANDING
from emberbed_fw import messages, run_states
from emberbed_fw.plan import HOLD
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.units import NONE

LEAVING = (messages.NEXT_STAGE, messages.COOL_DOWN)
STANDS = (run_states.WAITS_HELD, run_states.WAITS_ANSWER)  # the question belongs to the holding
NEAR_C = 0.5  # a setpoint further away is another one
USUAL_BAND_C = 5.0


@dataclass
class Standing:
    """Once held here, or back at the last plateau: at `level_c` for `ticks`.

    `from_c` is what the board had when it began, `clock_ticks` what the stage had done by then,
    `reach_ticks` how long it took to come near the level; None when it never did.
    """

    from_c: float
    level_c: float
    clock_ticks: int
    back: bool
    began: int  # on the stage's count of ticks
    ticks: int = 0
    reach_ticks: int | None = None

    def there_s(self) -> float:
        """Return the seconds at the level, without the way to it."""
        return 0.0 if self.reach_ticks is None else (self.ticks - self.reach_ticks) / 10


@dataclass
class StageCourse:
    """One stage as it went. `left_by` is the touch that ended it, 0 for its own end; `ended` is
    false where a trip, a stop or the end of the record broke it off."""

    stage: int
    began_c: float
    last_c: float = 0.0
    clock_ticks: int = 0  # of the plan's clock, which a hold counts in its band only
    taken_ticks: int = 0
    air_ticks: int = 0  # with hot air on
    offset_c: float = 0.0  # that stood at the end
    left_by: int = 0
    ended: bool = False
    more_time: bool = False  # a person gave it more
    standings: list[Standing] = field(default_factory=list)
    stands: bool = False  # the newest standing lasts


def courses_of(records: Iterable[TickRecord], plan: Plan) -> dict[int, StageCourse]:
    """Return the stages that were begun, by number from 0."""
    courses: dict[int, StageCourse] = {}
    before: TickRecord | None = None
    for record in records:
        running = courses.get(before.stage) if before is not None and _staged(before) else None
        if running is not None and not (_staged(record) and record.stage == running.stage):
            _end(running, record)
        if _staged(record):
            _follow(courses, plan, before, record)
        before = record
    return courses


def _staged(record: TickRecord) -> bool:
    return record.state in run_states.STAGED_STATES and record.stage != NONE


def _end(course: StageCourse, following: TickRecord) -> None:
    """Take the first record after a stage."""
    course.left_by = following.touch if following.touch in LEAVING else 0
    course.ended = _staged(following) or following.verdict == run_states.FINISHED
    if course.ended and not course.left_by:
        course.clock_ticks += 1  # the tick in which its time was full belongs to the next stage
        course.taken_ticks += 1


def _follow(
    courses: dict[int, StageCourse], plan: Plan, before: TickRecord | None, record: TickRecord
) -> None:
    measured = record.channel_cdeg(plan.header["control0"])
    course = courses.get(record.stage)
    if course is None:
        course = courses[record.stage] = StageCourse(record.stage, (measured or 0) / 100)
    if measured is not None:
        course.last_c = measured / 100
    course.clock_ticks = record.stage_tick
    course.taken_ticks = record.stage_elapsed
    course.air_ticks += record.state == run_states.RUN
    course.offset_c = record.offset_cdeg / 100
    asked = before is not None and before.prompt == LONGER_PROMPT
    if record.touch == messages.EXTEND or (asked and record.touch == messages.ANSWER):
        course.more_time = True
    _stand(course, plan, record)


def _stand(course: StageCourse, plan: Plan, record: TickRecord) -> None:
    """Begin, follow or end a standing."""
    held = record.waits_for == run_states.WAITS_HELD
    asked_c = record.setpoint_cdeg / 100
    if record.touch == messages.GO_ON or record.waits_for not in STANDS:
        course.stands = False
    if held and (record.touch in STANDING or not course.stands):
        back = record.touch == messages.LAST_PLATEAU
        began = record.stage_elapsed - 1
        found = Standing(course.last_c, asked_c, record.stage_tick, back, began)
        course.standings.append(found)
        course.stands = True
    if not course.stands:
        return
    standing = course.standings[-1]
    if held:
        standing.level_c = asked_c
    elif abs(asked_c - standing.level_c) > NEAR_C:
        return  # nobody has answered, and the device has gone back to the last plateau by itself
    standing.ticks = record.stage_elapsed - standing.began
    near = abs(course.last_c - standing.level_c) <= band_c(plan, course.stage)
    if standing.reach_ticks is None and near:
        standing.reach_ticks = standing.ticks - 1


def band_c(plan: Plan, stage: int) -> float:
    """Return how far from a level a board may be to count as there."""
    row = plan.stages[stage]
    return row["band_cdeg"] / 100 if row["kind"] == HOLD else USUAL_BAND_C
