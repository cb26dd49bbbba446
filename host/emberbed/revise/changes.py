"""The stages of the new revision: those of the profile, with what a person did to them.

Takes the stages as the file has them, what the device was told to do, and how each stage went;
gives a Draft: the stages in order, and one sentence for each change. Temperatures and times are
what really was: with the shift that stood at a stage's end, holds as long as they were held.
"""

from collections.abc import Mapping, Sequence
from math import ceil
from typing import Any

from emberbed import words
from emberbed.profiles.compile import Plan
from emberbed.profiles.limits import LONGEST_FACTOR, LONGEST_SPARE_S
from emberbed.report.display import clock
from emberbed.revise.course import StageCourse, Standing, band_c
from emberbed.revise.draft import (
    LEAST_HOLD_S,
    LEAST_STEP_C,
    Draft,
    Part,
    Piece,
    Values,
    as_written,
    degrees,
)
from emberbed_fw import messages
from emberbed_fw import plan as layout
from emberbed_fw.units import TICKS_PER_S

LEAST_SHIFT_C = 0.05
TICK_S = 1 / TICKS_PER_S


def changes_of(
    stages: Sequence[Mapping[str, Any]], plan: Plan, courses: Mapping[int, StageCourse]
) -> Draft:
    """Return the new revision; `stages` are the file's, one for each of the plan's."""
    maker = _Maker(stages, plan, courses)
    last = len(stages) - 1
    cooled = [n for n, course in courses.items() if course.left_by == messages.COOL_DOWN]
    ends_with = cooled[0] if cooled else last - 1
    for number in range(ends_with + 1):
        maker.take(number)
    maker.draft.parts.append(Part(last))
    if ends_with < last - 1:
        first = ends_with + 2
        left = f"Stage {first} is" if first == last else f"Stages {first} to {last} are"
        maker.say(f"{left} left out: you cooled down in stage {ends_with + 1}.")
    return maker.draft


class _Maker:
    """Takes stage after stage; `number` counts them from 0, sentences from 1."""

    def __init__(
        self,
        stages: Sequence[Mapping[str, Any]],
        plan: Plan,
        courses: Mapping[int, StageCourse],
    ) -> None:
        self.draft = Draft()
        self._stages = stages
        self._plan = plan
        self._courses = courses
        self._kinds = [row["kind"] for row in plan.stages]

    def take(self, number: int) -> None:
        course, kind = self._courses.get(number), self._kinds[number]
        if kind == layout.RAMP:
            self.draft.ramp = dict(self._stages[number])
        if course is None:
            self._keep(number)
        elif kind == layout.RAMP:
            self._take_ramp(number, course)
        elif kind == layout.HOLD:
            self._take_hold(number, course)
        else:
            self._take_wait(number, course)

    def say(self, sentence: str) -> None:
        self.draft.sentences.append(sentence)

    def _keep(self, number: int) -> None:
        """Take over a stage that this run did not come to."""
        if self._kinds[number] == layout.RAMP:
            self.draft.level_c = self._target_c(number)
            self.draft.heated = True
        self.draft.parts.append(Part(number))

    def _take_ramp(self, number: int, course: StageCourse) -> None:
        draft, row, title = self.draft, self._stages[number], self._title(number)
        was_c = self._target_c(number)
        goal_c, why = self._goal(number, course)
        last = {**draft.ramp_to(goal_c), **self._longer(number, course, {})}
        if abs(goal_c - was_c) < LEAST_SHIFT_C:
            last["to_c"] = row["to_c"]  # as the file writes it
        if draft.level_c is None:
            draft.level_c = course.began_c
        pieces = []
        for standing in course.standings:
            pieces += draft.standing_pieces(title, standing)
        if not pieces and not course.left_by:
            draft.level_c = None  # a ramp that ran to its end is one, however warm the board was
        if not draft.put([*pieces, Piece(last, own=True)], number, row):
            self.say(f"{title} is left out: the board was there already.")
        elif why and abs(goal_c - was_c) >= LEAST_SHIFT_C:
            self.say(f"{title}: to {degrees(goal_c)} instead of {degrees(was_c)}, {why}.")
        draft.level_c = goal_c

    def _goal(self, number: int, course: StageCourse) -> tuple[float, str]:
        """Return where a ramp really led to, and why that is not its target."""
        keeper = self._courses.get(number + 1) if self._is_kept(number) else None
        shift_c = (keeper or course).offset_c  # the shift of the level is what stood at its end
        goal_c = self._target_c(number) + shift_c
        why = f"as you moved the target by {shift_c:+g} °C" if shift_c else ""
        if not course.left_by:
            return goal_c, why
        if course.left_by == messages.COOL_DOWN or not self._is_kept(number):
            ended_c = course.standings[-1].level_c if course.stands else course.last_c
            return ended_c, "where you ended it"
        if course.last_c < goal_c - LEAST_STEP_C:
            self.draft.kept.append(
                f"{self._title(number)} keeps its target: you ended it at {degrees(course.last_c)},"
                " and the stage after it led there all the same."
            )
        return goal_c, why

    def _is_kept(self, number: int) -> bool:
        """Tell whether the stage after a ramp keeps its temperature."""
        return self._kinds[number + 1] in layout.PLATEAUS

    def _take_hold(self, number: int, course: StageCourse) -> None:
        goal_c = self._reach(number, course)
        row, title = self._stages[number], self._title(number)
        beside = [s for s in course.standings if not self._is_near(number, s, goal_c)]
        within = [s for s in course.standings if s not in beside]
        whole_s = self._whole_s(number, course, within)
        changed = self._hold_values(number, course, whole_s)
        pieces, done_s = [], 0.0
        for standing in beside:
            there = self.draft.standing_pieces(title, standing)
            until_s = (standing.clock_ticks + _ticks(within, standing.clock_ticks)) * TICK_S
            if there:
                pieces += [*self._hold(row, changed, until_s - done_s), *there]
                pieces.append(self._ramp(goal_c))
                done_s = until_s
        pieces += self._hold(row, changed, whole_s - done_s)
        if not self.draft.put(pieces, number, row):
            self.say(f"{title} is left out: you ended it before it counted.")
        elif abs(whole_s - row["for_s"]) >= TICK_S:
            longer = ", and its longest time with it" if "longest_s" in changed else ""
            self.say(
                f"{title}: {clock(whole_s)} instead of {clock(row['for_s'])}, as held{longer}."
            )

    def _whole_s(self, number: int, course: StageCourse, within: list[Standing]) -> float:
        """Return how long a hold really was; one that was broken off is as long as it should be."""
        ticks = course.clock_ticks
        if not course.ended:
            ticks = self._plan.knots_of(number)[-1]["tick"]
        return (ticks + _ticks(within)) * TICK_S

    def _hold_values(self, number: int, course: StageCourse, whole_s: float) -> Values:
        """Return what else changes in a hold: its longest time grows with it."""
        row, changed = self._stages[number], {}
        if "longest_s" in row and whole_s > row["for_s"]:
            changed["longest_s"] = ceil(row["longest_s"] + whole_s - row["for_s"])
        default_s = max(whole_s * LONGEST_FACTOR, whole_s + LONGEST_SPARE_S)
        longest_s = changed.get("longest_s", row.get("longest_s", default_s))
        return {**changed, **self._longer(number, course, {"longest_s": longest_s})}

    def _hold(self, row: Mapping[str, Any], changed: Values, seconds: float) -> list[Piece]:
        if seconds < LEAST_HOLD_S:
            return []
        same = abs(seconds - row["for_s"]) < TICK_S
        for_s = row["for_s"] if same else as_written(seconds)
        return [Piece({**row, **changed, "for_s": for_s}, own=True)]

    def _take_wait(self, number: int, course: StageCourse) -> None:
        goal_c = self._reach(number, course)
        title = self._title(number)
        for standing in course.standings:
            if self._is_near(number, standing, goal_c):
                continue
            there = self.draft.standing_pieces(title, standing)
            self.draft.put([*there, self._ramp(goal_c)] if there else [])
        self.draft.parts.append(Part(number, self._longer(number, course, {})))
        if course.left_by == messages.NEXT_STAGE:
            self.draft.kept.append(f"{title} stays: a person ends it anyway.")

    def _reach(self, number: int, course: StageCourse) -> float:
        """Bring the level to that of a stage which keeps one; return it."""
        goal_c = self._target_c(number) + course.offset_c
        level_c = self.draft.level_c
        if level_c is None or abs(goal_c - level_c) >= LEAST_STEP_C:
            self.draft.put([self._ramp(goal_c)])
            self.say(
                f"Before stage {number + 1}: a ramp to {degrees(goal_c)}, as you moved the target"
                f" by {course.offset_c:+g} °C in it."
            )
        return goal_c

    def _ramp(self, to_c: float) -> Piece:
        return Piece(self.draft.ramp_to(to_c))

    def _is_near(self, number: int, standing: Standing, goal_c: float) -> bool:
        return abs(standing.level_c - goal_c) <= band_c(self._plan, number)

    def _longer(self, number: int, course: StageCourse, allowed_s: Mapping[str, float]) -> Values:
        """Return the longest times that a person had to lengthen; `allowed_s` where another one
        than the plan's counts."""
        if not course.more_time or course.standings:
            return {}
        row = self._plan.stages[number]
        took = {"longest_s": (course.taken_ticks, row["longest_ticks"])}
        if row["kind"] == layout.HOT_AIR:
            asked = course.taken_ticks - course.air_ticks
            took = {
                "start_within_s": (asked, row["answer_ticks"]),
                "longest_s": (course.air_ticks, row["longest_ticks"]),
            }
        found = {
            key: ceil(ticks * TICK_S)
            for key, (ticks, most) in took.items()
            if ticks * TICK_S > allowed_s.get(key, most * TICK_S)
        }
        for key, seconds in found.items():
            self.say(f"{self._title(number)}: {key} = {seconds}, as it took that long.")
        return found

    def _target_c(self, number: int) -> float:
        return self._plan.stages[number]["target_cdeg"] / 100

    def _title(self, number: int) -> str:
        return f"Stage {number + 1} ({words.stage_words(self._kinds[number])})"


def _ticks(standings: list[Standing], until: int | None = None) -> int:
    """Return how long a level was held by hand, up to a point of the stage's clock."""
    return sum(s.ticks for s in standings if until is None or s.clock_ticks <= until)
