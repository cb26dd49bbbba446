"""How far a run is, as its records tell it: what a person has changed, marked, and may do next.

Follows the records of one run in order and mirrors what the device keeps to itself: whether the
temperature is held, which expected events are marked, how much longer a stage may take, where the
heating ended. Decides nothing; the device does.
"""

import struct

from emberbed.bench.lifted import LiftedBead
from emberbed.profiles.plan_bytes import Plan
from emberbed.records import TickRecord, commands_of
from emberbed_fw import messages, signals
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.touches import expected_mark, marked_after
from emberbed_fw.trip_codes import WITHHELD_LIFTED
from emberbed_fw.units import CHANNELS, NONE, TICKS_PER_MIN

_TOUCH = struct.Struct(messages.TOUCH_PAYLOAD)
ASKS_PERSON = (layout.WAIT, layout.HOT_AIR)


class Progress:
    """Follows one run; `newest` is its newest record."""

    def __init__(self, plan: Plan, left_stage: int = NONE, left_ticks: int = 0) -> None:
        self.plan = plan
        self.newest: TickRecord | None = None
        self.held = False  # a person holds the temperature where it is
        self.marks: list[tuple[int, int]] = []  # (tick, mark) of all that were set
        self.extra_ticks = 0  # that a person has added to the running stage
        self.fan_asked = False
        self.left_stage = left_stage  # where the heating was last, to go on from there
        self.left_ticks = left_ticks
        self.lifted: int | None = None  # channel whose bead seems to lift
        self._marked = 0  # of the expected events of `_marked_stage`
        self._marked_stage = NONE
        self._beads = LiftedBead(self.board_channels())

    def follow(self, record: TickRecord, raw: bytes = b"") -> None:
        """Take the next record; `raw` are its bytes, where there are any."""
        before, self.newest = self.newest, record
        if before is None or before.stage != record.stage:
            self.extra_ticks = 0
            self.held = False
        if record.touch == messages.EXTEND:
            self.extra_ticks += _extended_ticks(raw)
        self.fan_asked = self.fan_asked or record.touch == messages.FAN_NOW
        self._note_held(record)
        if record.mark:
            self._note_mark(record, before)
        if record.state in rs.STAGED_STATES:
            self.left_stage, self.left_ticks = record.stage, record.stage_tick
        self._beads.follow(record)
        if not record.withheld & WITHHELD_LIFTED:
            self.lifted = None
        elif (fallen := self._beads.fallen()) is not None:  # it is back before the device is sure
            self.lifted = fallen

    # what is so

    def board_channels(self) -> list[int]:
        """Return the channels whose beads lie on the board."""
        return self.plan.board_channels()

    def emitter_channels(self) -> list[int]:
        roles = [self.plan.header[f"role{c}"] for c in range(CHANNELS)]
        return [c for c, role in enumerate(roles) if role == layout.ROLE_EMITTER]

    def stage_row(self) -> dict[str, int] | None:
        """Return the running stage's fields, None outside all stages."""
        record = self.newest
        if record is None or record.stage >= len(self.plan.stages):
            return None
        return self.plan.stages[record.stage]

    def kind(self) -> int:
        """Return the running stage's kind, NONE outside all stages."""
        row = self.stage_row()
        return NONE if row is None else row["kind"]

    def staged(self) -> bool:
        """Tell whether a stage heats or waits for the person."""
        return self.newest is not None and self.newest.state in rs.STAGED_STATES

    def air_on(self) -> bool:
        """Tell whether hot air from above is on, as the person said."""
        return (
            self.newest is not None
            and self.newest.state == rs.RUN
            and self.kind() == layout.HOT_AIR
        )

    def next_mark(self) -> int:
        """Return the event that is expected next, MARK_NOTE when there is none."""
        row = self.stage_row()
        if row is None:
            return messages.MARK_NOTE
        assert self.newest is not None
        marked = self._marked if self.newest.stage == self._marked_stage else 0
        return expected_mark(row["marks"], marked)

    def has_plateau(self) -> bool:
        """Tell whether there is a hold of before to go back to."""
        assert self.newest is not None
        earlier = self.plan.stages[: self.newest.stage]
        return any(row["kind"] in layout.PLATEAUS for row in earlier)

    def offset_fits(self, offset_cdeg: int) -> bool:
        """Tell whether every target still to come would stay below what was shown at the press."""
        assert self.newest is not None
        to_come = self.plan.stages[self.newest.stage : -1]
        most = self.plan.header["most_setpoint_cdeg"]
        return all(row["target_cdeg"] + offset_cdeg <= most for row in to_come)

    def waits_for_fan(self) -> bool:
        """Tell whether the fan waits for the person to say that the solder is solid."""
        on_press = self.plan.header["fan_starts"] == layout.FAN_ON_PRESS
        cools = self.newest is not None and self.newest.state == rs.COOL
        return on_press and cools and not self.fan_asked

    def planned_ticks(self) -> int:
        """Return how long the running stage takes by its knots and a person's extra time."""
        if self.newest is None or self.stage_row() is None:
            return 0
        planned = planned_ticks(self.plan, self.newest.stage)
        return planned + self.extra_ticks if planned else 0

    def ticks_to_person(self) -> int | None:
        """Return the ticks until a stage that needs the person begins; None while that is far."""
        record = self.newest
        if record is None or not self.staged() or self.kind() != layout.HOLD or self.held:
            return None
        if self.plan.stages[record.stage + 1]["kind"] not in ASKS_PERSON:
            return None
        left = self.planned_ticks() - record.stage_tick
        return left if 0 < left <= signals.AHEAD_TICKS else None

    def air_left_ticks(self) -> int | None:
        """Return the ticks until hot air is on for longer than it may; None without hot air."""
        row = self.stage_row()
        if row is None or self.newest is None or not self.air_on():
            return None
        return row["longest_ticks"] + self.extra_ticks - self.newest.stage_tick

    def air_ends_soon(self) -> bool:
        """Tell whether the last half minute of hot air runs."""
        left = self.air_left_ticks()
        return left is not None and 0 < left <= signals.AHEAD_TICKS

    def _note_held(self, record: TickRecord) -> None:
        if record.state not in rs.STAGED_STATES:
            self.held = False
        elif record.waits_for == rs.WAITS_HELD:
            self.held = True
        elif record.waits_for != rs.WAITS_ANSWER:  # which hides what it waited for before
            self.held = False

    def _note_mark(self, record: TickRecord, before: TickRecord | None) -> None:
        """Keep a mark, and what is not expected any more, as the device does."""
        self.marks.append((record.tick, record.mark))
        # the device takes it before the stage that may end with it
        stage = record.stage if before is None else before.stage
        if stage != self._marked_stage:
            self._marked_stage, self._marked = stage, 0
        if stage < len(self.plan.stages):
            marks = self.plan.stages[stage]["marks"]
            self._marked = marked_after(marks, self._marked, record.mark)


def planned_ticks(plan: Plan, stage: int) -> int:
    """Return how long stage number `stage` takes by its knots, 0 where it takes as long as it
    takes."""
    row = plan.stages[stage]
    return plan.knots[row["first_knot"] + row["knots"] - 1]["tick"] if row["knots"] else 0


def _extended_ticks(raw: bytes) -> int:
    """Return by how much a stage was extended; the device's button always asks for a minute."""
    for kind, payload in reversed(commands_of(raw) if raw else []):
        if kind == messages.STAGE_REQUEST and len(payload) == _TOUCH.size:
            touch, amount, _source = _TOUCH.unpack(payload)
            if touch == messages.EXTEND:
                return amount
    return TICKS_PER_MIN
