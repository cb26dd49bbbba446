"""A block of bytes that arrives and leaves in parts: the plan, the settings.

Writes must follow each other without a hole; writing at 0 starts anew. Parts take memory as the
largest block so far needs it; a whole block takes none of its own. No checks of meaning.
"""

STEP_BYTES = 512


class BlockBuffer:
    def __init__(self, most):
        self._most = most
        self._octets = bytearray(0)
        self._filled = 0

    def fill(self, block):
        """Take a whole block at once: the bytes themselves, copied only when a part is written."""
        self._octets = block
        self._filled = len(block)

    def write(self, offset, source, at, count):
        """Copy `count` bytes of `source[at:]` to `offset`; tell whether they fitted."""
        if offset == 0:
            self._filled = 0
        if offset > self._filled or offset + count > self._most:
            return False
        if not isinstance(self._octets, bytearray):
            self._octets = bytearray(self.view())
        self._make_room(offset + count)
        for index in range(count):
            self._octets[offset + index] = source[at + index]
        self._filled = max(self._filled, offset + count)
        return True

    def whole(self, length):
        """Return the block, without a copy, when exactly `length` bytes have come, else None."""
        return self.view() if length == self._filled else None

    def view(self):
        """Return what has come so far, without a copy."""
        return memoryview(self._octets)[: self._filled]

    def read(self, offset, count):
        """Return up to `count` bytes from `offset`; empty past the end."""
        return bytes(self.view()[offset : offset + count])

    def _make_room(self, wanted):
        if wanted > len(self._octets):
            steps = (wanted + STEP_BYTES - 1) // STEP_BYTES
            self._octets += bytes(min(steps * STEP_BYTES, self._most) - len(self._octets))
