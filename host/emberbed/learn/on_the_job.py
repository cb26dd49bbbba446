"""Learns the board while the run goes on, once, and tells it before the first work on the board.

Takes every stored record; when the first hold after the first ramp has lasted 30 s, or the first
prompt has come, it computes in a thread of its own, so that the loop that answers for the heat
goes on; gives (tick, kind, sentence) with a later record. Reads nothing but records, asks the
device for nothing.
"""

import threading
from collections.abc import Sequence

import numpy as np

from emberbed.heater.heater_file import HeaterFile
from emberbed.learn.board_fit import NotLearned, learn
from emberbed.learn.outlook import outlook
from emberbed.learn.seen import Seen
from emberbed.profiles.plan_bytes import Plan
from emberbed.records import TickRecord
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.units import NONE, TICKS_PER_S

HELD_TICKS = 30 * TICKS_PER_S
LAST_WAIT_S = 5.0  # at the end of a run that was faster than the computing
KIND = "learned"
ENDS = (rs.FINISHED, rs.STOPPED, rs.LINK_LOST, rs.TRIPPED)
Told = tuple[int, str, str]


class OnTheJob:
    """Called with each record; `watts` stand in where the file has none."""

    def __init__(self, heater: HeaterFile, plan: Plan, watts: float) -> None:
        self._heater = heater
        self._plan = plan
        self._watts = watts
        self._hold = _first_hold(plan)
        self._seen = Seen(plan.header["control0"])
        self._thread: threading.Thread | None = None
        self._tick = 0
        self._sentences: list[str] = []
        self._told = False

    def __call__(self, record: TickRecord) -> Sequence[Told]:
        """Take the next record; return what is to be told by now."""
        if self._told:
            return ()
        if self._thread is None:
            self._seen.follow(record)
            if self._is_time(record):
                self._begin(record)
            return ()
        if record.state in ENDS:
            self._thread.join(LAST_WAIT_S)
        if self._thread.is_alive():
            return ()
        self._told = True
        return [(self._tick, KIND, sentence) for sentence in self._sentences]

    def _is_time(self, record: TickRecord) -> bool:
        if record.state == rs.WAIT:
            return True
        return record.stage == self._hold and record.stage_elapsed >= HELD_TICKS

    def _begin(self, record: TickRecord) -> None:
        self._tick = record.tick
        self._thread = threading.Thread(target=self._learn, args=(record,), daemon=True)
        self._thread.start()

    def _learn(self, record: TickRecord) -> None:
        try:
            learned = learn(self._seen.measured(), self._heater, self._watts)
            done = record.stage_tick if record.state == rs.RUN else 0
            self._sentences = outlook(learned, self._plan, record.stage, done).sentences
        except NotLearned as why:
            self._sentences = [f"This board is not known better than before: {why}."]
        except (ArithmeticError, np.linalg.LinAlgError):
            self._sentences = [
                "This board is not known better than before: no board fits this run on the heater"
                " of the file."
            ]


def _first_hold(plan: Plan) -> int:
    """Return the first hold after the first ramp, NONE where there is none."""
    kinds = [row["kind"] for row in plan.stages]
    if layout.RAMP not in kinds:
        return NONE
    ramp = kinds.index(layout.RAMP)
    return kinds.index(layout.HOLD, ramp) if layout.HOLD in kinds[ramp:] else NONE
