"""The loop on a bench played from a tape."""

from emberbed.link.transport import LinkError
from emberbed.records import decode_record
from tests.support.profiles import PROMPT, hold_profile

PROFILE = hold_profile(for_s=20, to_c=55, prompt=PROMPT)
LINK_BROKE = LinkError("The link to socket://bench:1 broke (connection reset)")


def of_state(tape, state):
    return next(n for n, raw in enumerate(tape) if decode_record(raw).state == state)


def ticks(tape):
    return [decode_record(raw).tick for raw in tape]
