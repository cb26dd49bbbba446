"""Requests on their way: what was sent, under which sequence numbers, and when to send it again.

One request at a time in each lane: STOP and BACKFILL have their own, all others share one, so that
a STOP never waits. Pure: the time is an argument, in seconds of any steady clock.
"""

from dataclasses import dataclass

from emberbed_fw import messages

COMMON_LANE = 0


def lane_of(message_type: int) -> int:
    """Return the lane of a request: its own type, or the common one."""
    return message_type if message_type in (messages.STOP, messages.BACKFILL) else COMMON_LANE


@dataclass(slots=True)
class Waiting:
    """A request that waits for its reply; any of its sequence numbers may be answered."""

    message_type: int
    payload: bytes
    sequences: list[int]
    sends_left: int
    due_s: float | None = None  # None: just sent, the wait starts at the next look at the clock

    def answered_by(self, request_type: int, sequence: int) -> bool:
        return request_type == self.message_type and sequence in self.sequences

    def is_due(self, now_s: float, answer_s: float) -> bool:
        """Tell whether the reply is overdue; the first look starts the wait of `answer_s`."""
        if self.due_s is None:
            self.due_s = now_s + answer_s
            return False
        return now_s >= self.due_s
