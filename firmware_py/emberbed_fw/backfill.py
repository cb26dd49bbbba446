"""Sends a host what it lacks, oldest first: thinned blocks, blocks of every tick, whole records.

One place, `_tick`, is all it remembers: the next tick wanted. From there the finest memory that
still has it is sent, so that a host gets one stream in the order of ticks, thinner where it was
away too long. Knows no frame; runs after the outputs are set.
"""

from emberbed_fw.block_ring import FORM_WHOLE


class Backfill:
    def __init__(self, recorder):
        self._recorder = recorder
        self._tick = 0  # the next tick to send, 0 for nothing

    def forget(self):
        self._tick = 0

    def ask(self, wanted):
        """Begin to send from `wanted` on; return the first tick that will come."""
        recorder = self._recorder
        self._tick = max(wanted, 1)
        if self._tick < self.fine_from():
            self._tick = self._first_thinned(self._tick)
        return self._tick if self._tick <= recorder.newest_tick else recorder.newest_tick + 1

    def fine_from(self):
        """Return the first tick from which on every tick is kept."""
        return min(self._recorder.fine.oldest_tick(), self._recorder.oldest_whole()) or 1

    def seconds_from(self):
        """Return the first tick from which on at least one a second is kept."""
        return min(self._recorder.second.oldest_tick() or self.fine_from(), self.fine_from())

    def next_into(self, out, at):
        """Put the next BACKFILL_BLOCK at `out[at:]`; return its length, 0 for nothing to send."""
        recorder = self._recorder
        if not 0 < self._tick < recorder.newest_tick:
            self._tick = 0
            return 0
        if self._tick >= recorder.oldest_whole():
            return self._whole_into(out, at)
        if self._tick >= self.fine_from():
            return self._block_into(recorder.fine, recorder.newest_tick + 1, out, at)
        if self._tick >= self.seconds_from():
            return self._block_into(recorder.second, self.fine_from(), out, at)
        return self._block_into(recorder.run, self.seconds_from(), out, at)

    def _first_thinned(self, wanted):
        """Return the first tick from `wanted` on that a thinned ring has."""
        if wanted < self.seconds_from():
            oldest = self._recorder.run.oldest_tick()
            first = max(_next_multiple(wanted, self._recorder.run.step), oldest)
            if oldest and first < self.seconds_from():
                return first
            wanted = self.seconds_from()
        first = _next_multiple(wanted, self._recorder.second.step)
        return min(first, self.fine_from())

    def _whole_into(self, out, at):
        recorder = self._recorder
        length = recorder.length(self._tick)
        out[at] = FORM_WHOLE
        out[at + 1 : at + 1 + length] = memoryview(recorder.slot(self._tick))[:length]
        self._tick += 1
        return length + 1

    def _block_into(self, ring, finer_from, out, at):
        """Send the ring's next block; go on where a finer memory begins, if that is sooner."""
        index = ring.find(self._tick)
        if index < 0:
            self._tick = finer_from
            return 0
        self._tick = min(ring.last_tick(index) + 1, finer_from)
        return ring.copy_block(index, out, at)


def _next_multiple(tick, step):
    return (tick + step - 1) // step * step
