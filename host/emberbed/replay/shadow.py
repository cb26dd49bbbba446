"""A copy of the device's firmware that follows a run record by record and compares every output.

It begins with the record of an arming, once it is known what ARM was answered, or with a snapshot
of the device, and loses the run where a record is missing or differs, until the next of these. It
never raises for what a record
holds. Takes some tens of microseconds a tick (tests/benchmarks/test_self_check_cost.py).
"""

from collections import deque
from collections.abc import Iterator, Sequence

from emberbed.replay import player
from emberbed.replay.play import Difference
from emberbed.store.contents import tick_of
from emberbed_fw.replay import Heard, Replay, arms, field_at
from emberbed_fw.snapshot import restore_snapshot

MOST_RECENT = 100  # records that may come before the snapshot of a tick before them
MOST_WAITING = 600  # records between an arming and what the host hears of it


class Shadow:
    """`follows` tells whether the newest record was compared. `lost` counts how often it could no
    longer follow for want of a record."""

    def __init__(self, settings: bytes, plan: bytes) -> None:
        self._settings = settings
        self._plan = plan
        self._replay: Replay | None = None
        self._counts: bytes | None = None
        self._waiting: list[bytes] = []
        self._last_tick: int | None = None
        self._recent: deque[bytes] = deque(maxlen=MOST_RECENT)
        self._heard = Heard()
        self.lost = 0
        self.compared = 0  # records so far

    @property
    def follows(self) -> bool:
        return self._replay is not None

    def arming(self) -> None:
        """The device is being asked to arm: what it answered before holds no more."""
        self._counts = None

    def armed(self, counts: bytes) -> Difference | None:
        """Take what ARM was answered; return the first difference in what has waited for that."""
        self._counts = counts
        waiting, self._waiting = self._waiting, []
        self._last_tick = None if waiting else self._last_tick
        return next(self._all(waiting), None)

    def follow(self, record: bytes) -> Difference | None:
        """Take the next stored record; return where it differs, None for nowhere."""
        tick = tick_of(record)
        if self._last_tick is not None and tick != self._last_tick + 1:
            self._lose()
        self._last_tick = tick
        self._recent.append(record)
        self._heard.note(record, len(record))
        if self._replay is not None:
            return self._feed(self._replay, tick, record)
        begins = arms(record, len(record))
        if self._counts is None and (self._waiting or begins):
            self._waiting = [record] if begins else [*self._waiting, record][:MOST_WAITING]
            return None
        if not begins:
            return None
        self._replay = Replay(self._settings, self._plan, self._counts)
        return self._feed(self._replay, tick, record)

    def snapshot(self, tick: int, numbers: Sequence[int]) -> Difference | None:
        """Take the device's memory after `tick`: where the run was lost, go on from there."""
        later = [record for record in self._recent if tick_of(record) > tick]
        if self._replay is not None or [tick_of(record) for record in later] != list(
            range(tick + 1, (self._last_tick or tick) + 1)
        ):
            return None
        replay = Replay(self._settings, self._plan, self._counts)
        try:
            restore_snapshot(replay.machine, numbers)
            replay.begin_here(self._heard.until(tick))
        except ValueError:  # of another firmware or plan, or with a feedforward nobody recorded
            return None
        self._replay, self._waiting, self._last_tick = replay, [], tick
        return next(self._all(later), None)

    def _all(self, records: list[bytes]) -> Iterator[Difference]:
        for record in records:
            difference = self.follow(record)
            if difference is not None:
                yield difference

    def _lose(self) -> None:
        if self._replay is not None or self._waiting:
            self.lost += 1
        self._replay = None
        self._waiting = []

    def _feed(self, replay: Replay, tick: int, record: bytes) -> Difference | None:
        try:
            differs = replay.feed(record, len(record))
        except Exception as error:  # the copy runs the device's program: that it fails is a finding
            self._replay = None
            return Difference(tick, "", "", type(error).__name__)
        self.compared += 1
        if differs < 0:
            return None
        self._replay = None
        field = field_at(differs)
        out = bytes(replay.out[: replay.length])
        recorded, replayed = (str(player.value_at(each, field)) for each in (record, out))
        return Difference(tick, field, recorded, replayed)
