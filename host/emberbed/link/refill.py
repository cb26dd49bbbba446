"""Decides when to ask again for missing records and when to give them up.

Asks from the first missing tick. A gap is given up when the device refuses, says that its oldest
record is newer, or resends without the missing record again and again. A device that does not
answer at all is asked for ever: it may still have the records. Pure: the time is an argument, in
seconds of any steady clock.
"""

from enum import Enum

MOST_ASKS = 3  # one resend without the missing record may be a damaged frame, three are not


class Refill(Enum):
    """What to do about the missing records."""

    WAIT = 0
    ASK = 1
    GIVE_UP = 2


class GapKeeper:
    """Watches one gap at a time; `decide` is called after each look at the wire."""

    def __init__(self, answer_s: float) -> None:
        self._answer_s = answer_s
        self.forget()

    def forget(self) -> None:
        """No gap, or a new one: start to count anew."""
        self._tick = -1
        self._asks = 0
        self._due_s: float | None = None
        self._overshot = False
        self._refused = False

    def saw_resent(self, tick: int, next_tick: int) -> None:
        """Note a resent record; `answered` forgets those of an earlier resend."""
        if self._asks and tick > next_tick:
            self._overshot = True

    def answered(self, refused: bool) -> None:
        """Note the answer to the last ask: the resend begins, or never will."""
        self._refused = refused
        self._overshot = False
        self._due_s = None

    def put_off(self) -> None:
        """Note that the device cannot be asked now: ask again after a while, for ever."""
        self._asks = 1
        self._overshot = False
        self._due_s = None

    def decide(self, next_tick: int, now_s: float) -> Refill:
        """Say what to do while `next_tick` is missing and no ask is on its way."""
        if next_tick != self._tick:
            self._note_progress(next_tick, now_s)
        elif self._due_s is None:
            self._due_s = now_s + self._answer_s
        if self._refused:
            return Refill.GIVE_UP
        overdue = self._due_s is not None and now_s >= self._due_s
        if self._asks and not self._overshot and not overdue:
            return Refill.WAIT
        if self._asks == MOST_ASKS:
            return Refill.GIVE_UP
        self._asks += 1
        self._overshot = False
        self._due_s = None
        return Refill.ASK

    def _note_progress(self, next_tick: int, now_s: float) -> None:
        resending = self._tick >= 0
        overshot = self._overshot
        self.forget()
        self._tick = next_tick
        if resending:
            self._asks = 1  # the running resend counts as the ask for this tick too
            self._overshot = overshot
            self._due_s = now_s + self._answer_s
