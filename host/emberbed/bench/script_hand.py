"""A script in a person's place, at the virtual device only: presses, answers, and works.

Answers a prompt after the time the work would take; brings the hot air when it is asked for, marks
the expected events, takes it away again; goes on after a trip that has been mended. `acts` are what
else it does, at their times after the first press.
"""

from collections.abc import Sequence

from emberbed.bench.acts import Act
from emberbed.bench.hands import StopSignal
from emberbed.bench.progress import Progress
from emberbed.bench.virtual import VirtualDevice
from emberbed.bench.wishes import Answer, Touch, Wish
from emberbed.records import TickRecord
from emberbed_fw import messages
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.units import NONE, TICKS_PER_S

PRESS_HEARD_S = 5  # a press that the device has not taken by then is made again
ANSWERS_AFTER_S = 20.0  # simulated seconds a person would need for the work
GOES_ON_AFTER_S = 10.0  # to look at what was mended
BLOWS_FOR_S = 75.0  # of hot air; a small chip takes 60 to 90 s (common practice, no source)
MOST_OF_LONGEST = 0.7  # of what the stage allows
AIR_OFF_S = 3.0  # between taking the nozzle away and saying so


class ScriptedHand:
    """Plays one person through all runs of one command."""

    source = messages.BY_SCRIPT

    def __init__(self, virtual: VirtualDevice, stop: StopSignal, acts: Sequence[Act] = ()) -> None:
        self._virtual = virtual
        self._stop = stop
        self._acts = sorted(acts, key=lambda act: act.after_s)
        self._heard_by_tick = -1
        self._pressed_tick: int | None = None  # the first time
        self._prompt = NONE
        self._asked_since = 0
        self._answered_tick: int | None = None  # the prompt that is shown still
        self._air_since: int | None = None  # when the nozzle came
        self._marks_to_set: list[int] = []  # ticks

    def wishes(self, record: TickRecord, progress: Progress) -> list[Wish]:
        """Return what a person would ask for now."""
        self._press(record)
        if record.prompt != self._prompt:
            self._prompt = record.prompt
            self._asked_since = record.tick
            self._answered_tick = None
        return [
            *self._due_acts(record),
            *self._air(record, progress),
            *self._answer(record, progress),
        ]

    def stops(self) -> int:
        return self._stop.count

    def forget_stops(self) -> None:
        self._stop.count = 0

    def hints(self, _progress: Progress) -> list[str]:
        """Return the keys that do something now: nobody is at the keyboard."""
        return []

    def _press(self, record: TickRecord) -> None:
        if record.waits_for == rs.WAITS_PRESS and record.tick > self._heard_by_tick:
            self._virtual.hold_button()
            self._heard_by_tick = record.tick + PRESS_HEARD_S * TICKS_PER_S
        if self._pressed_tick is None and record.state in rs.HEATING_STATES:
            self._pressed_tick = record.tick

    def _due_acts(self, record: TickRecord) -> list[Wish]:
        due: list[Wish] = []
        while self._acts and self._is_due(self._acts[0], record):
            act = self._acts.pop(0)
            if act.deed.move is not None:
                act.deed.move(self._virtual, act.amount)
            if act.deed.wish is not None:
                due.append(act.deed.wish(act.amount))
        return due

    def _is_due(self, act: Act, record: TickRecord) -> bool:
        pressed = self._pressed_tick
        return pressed is not None and record.tick - pressed >= act.after_s * TICKS_PER_S

    def _air(self, record: TickRecord, progress: Progress) -> list[Wish]:
        """Work with hot air while the device says that it is on."""
        if not progress.air_on():
            if self._air_since is not None:  # taken away, or the run ended under it
                self._virtual.blow(False)
            self._air_since = None
            return []
        if self._air_since is None:
            self._bring_air(record, progress)
        wishes: list[Wish] = []
        while self._marks_to_set and record.tick >= self._marks_to_set[0]:
            self._marks_to_set.pop(0)
            wishes.append(Touch(messages.MARK, messages.MARK_NEXT))
        return wishes

    def _bring_air(self, record: TickRecord, progress: Progress) -> None:
        self._virtual.blow(True)
        self._air_since = record.tick
        expected = _expected_marks(progress)
        step = self._blows_for_ticks(progress) // (len(expected) + 1)
        self._marks_to_set = [record.tick + step * (n + 1) for n in range(len(expected))]

    def _blows_for_ticks(self, progress: Progress) -> int:
        row = progress.stage_row()
        longest = row["longest_ticks"] if row else 0
        return round(min(BLOWS_FOR_S * TICKS_PER_S, longest * MOST_OF_LONGEST))

    def _answer(self, record: TickRecord, progress: Progress) -> list[Wish]:
        if record.prompt == NONE or not self._may_answer(record, progress):
            return []
        if self._answered_tick is not None:
            heard_by = self._answered_tick + ANSWERS_AFTER_S * TICKS_PER_S
            if record.tick < heard_by:
                return []
        self._answered_tick = record.tick
        return [Answer(record.prompt)]

    def _may_answer(self, record: TickRecord, progress: Progress) -> bool:
        """Tell whether the work is done that the prompt asks for."""
        if record.prompt == AIR_AWAY_PROMPT:
            return self._took_air_away(record, progress)
        if record.prompt == LONGER_PROMPT and progress.held:
            return False  # who holds here goes on by an act of their own, or not at all
        takes_s = GOES_ON_AFTER_S if record.prompt == GO_ON_PROMPT else ANSWERS_AFTER_S
        return record.tick - self._asked_since >= takes_s * TICKS_PER_S

    def _took_air_away(self, record: TickRecord, progress: Progress) -> bool:
        if self._air_since is None:
            return False
        over = record.tick - self._air_since - self._blows_for_ticks(progress)
        if over >= 0:
            self._virtual.blow(False)
        return over >= AIR_OFF_S * TICKS_PER_S


def _expected_marks(progress: Progress) -> list[int]:
    """Return the events still expected in this stage that no answer brings by itself."""
    row = progress.stage_row()
    if row is None:
        return []
    bits = row["marks"]
    marks = []
    while bits:
        marks.append(bits & (1 << layout.MARK_BITS) - 1)
        bits >>= layout.MARK_BITS
    by_answers = (messages.MARK_NOZZLE_ON, messages.MARK_AIR_AWAY)
    return [mark for mark in marks if mark not in by_answers]
