"""The power for what follows a wait, planned anew while the operator is at work, where that is
asked for.

Takes every stored record and keeps how warm the heater is; from 30 s of a wait on, and each time
the wait has doubled, it computes in a thread of its own, so that the loop that answers for the heat
goes on. What comes while the same wait lasts is wished of the device; otherwise, and where the
device refuses it, the run goes on with the power that it has. One zone.
"""

import threading
from collections.abc import Sequence
from functools import partial

import numpy as np

from emberbed.bench.onlookers import Hand
from emberbed.bench.progress import Progress
from emberbed.bench.wishes import NewPower, Wish
from emberbed.heater.heater_file import HeaterFile
from emberbed.limit.anew import powers_anew, stages_ahead
from emberbed.limit.warmth import WarmthNow
from emberbed.link.blocks import feedforward_payloads
from emberbed.profiles.plan_bytes import decode_plan
from emberbed.records import TickRecord
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.units import FULL_POWER_Q15, NONE, TICKS_PER_S

FIRST_TICKS = 30 * TICKS_PER_S  # of a wait, in which the demand comes to rest
ZONE_BIT = 1


def may_plan_anew(plan: bytes) -> bool:
    """Tell whether this plan has power of one zone to plan anew."""
    opened = decode_plan(plan)
    planned = any(knot["feedforward0_q15"] for knot in opened.knots)
    return planned and opened.header["control1"] == NONE


class PlanAnew:
    """Of one command's runs, all with this plan on this heater."""

    def __init__(self, heater: HeaterFile, plan: bytes) -> None:
        self._values = heater.values
        self._bytes = plan
        self._plan = decode_plan(plan)
        self._thread: threading.Thread | None = None
        self._begin()

    def _begin(self) -> None:
        """A run begins with the plan's own power, on a heater that is cold."""
        self._powers = [knot["feedforward0_q15"] for knot in self._plan.knots]
        self._now: WarmthNow | None = None
        self._driven: list[int] = []  # of the running second
        self._demands: list[int] = []  # of the newest ones, as many as FIRST_TICKS
        self._next_ticks = FIRST_TICKS
        self._found: tuple[int, list[int]] | None = None  # stage, powers

    def __call__(self, record: TickRecord) -> Sequence[tuple[int, str, str]]:
        """Take the next record, as a learner of the run loop; there is nothing to tell here."""
        if record.state == rs.COLD_PROOF:
            self._begin()
        cdeg = record.channel_cdeg(self._plan.header["control0"])
        if record.state in rs.HEATING_STATES and cdeg is not None:
            self._follow(record, cdeg / 100)
        if not self._waits(record):
            self._next_ticks = FIRST_TICKS
        elif self._now is not None and record.stage_elapsed >= self._next_ticks:
            self._next_ticks = 2 * record.stage_elapsed
            self._plan_from(record.stage, self._now)
        return ()

    def wishes(self, record: TickRecord) -> list[Wish]:
        """Return what the device should have now."""
        found, self._found = self._found, None
        if found is None or not self._waits(record) or record.stage != found[0]:
            return []
        payloads = tuple(feedforward_payloads(self._bytes, found[1]))
        return [NewPower(payloads, partial(setattr, self, "_powers", found[1]))]

    def _waits(self, record: TickRecord) -> bool:
        """Tell whether a wait lasts that something is heated after."""
        if record.state != rs.WAIT or record.stage >= len(self._plan.stages):
            return False
        waits = self._plan.stages[record.stage]["kind"] == layout.WAIT
        return waits and len(stages_ahead(self._plan, record.stage)) > 0

    def _follow(self, record: TickRecord, reading_c: float) -> None:
        if self._now is None:
            self._now = WarmthNow(self._values, reading_c)
        self._demands = [*self._demands[1 - FIRST_TICKS :], record.demand0_q15]
        self._driven.append(record.driven_zones & ZONE_BIT)
        if len(self._driven) == TICKS_PER_S:
            self._now.step(sum(self._driven) / TICKS_PER_S, reading_c)
            self._driven = []

    def _plan_from(self, stage: int, now: WarmthNow) -> None:
        if self._thread is not None and self._thread.is_alive():
            return
        holding = sum(self._demands) / len(self._demands) / FULL_POWER_Q15
        known = (self._values, now.room_c, now.warmth, now.lack, self._plan, stage, holding)
        arguments = (stage, partial(powers_anew, *known, list(self._powers)))
        self._thread = threading.Thread(target=self._compute, args=arguments, daemon=True)
        self._thread.start()

    def _compute(self, stage: int, compute: partial[list[int]]) -> None:
        try:
            self._found = stage, compute()
        except (ArithmeticError, ValueError, np.linalg.LinAlgError):
            self._found = None  # the power that the device has is good enough


class PlanningHand:
    """A hand, and beside it what is planned anew."""

    def __init__(self, hand: Hand, anew: PlanAnew) -> None:
        self.source = hand.source
        self._hand, self._anew = hand, anew

    def wishes(self, record: TickRecord, progress: Progress) -> list[Wish]:
        return [*self._hand.wishes(record, progress), *self._anew.wishes(record)]

    def stops(self) -> int:
        return self._hand.stops()

    def forget_stops(self) -> None:
        self._hand.forget_stops()
