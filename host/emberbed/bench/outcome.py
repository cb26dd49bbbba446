"""How a run ends: the store's word and the exit code for each verdict of the firmware."""

from typing import NamedTuple

from emberbed.store.runs import RunEnd
from emberbed_fw import run_states as rs

EXIT_FINISHED = 0
EXIT_REFUSED = 2
EXIT_TRIPPED = 3
EXIT_STOPPED = 4
EXIT_LINK_LOST = 5


class Outcome(NamedTuple):
    """The store's state and the exit code of `emberbed run`."""

    state: RunEnd
    exit_code: int


OUTCOMES = {
    rs.FINISHED: Outcome("finished", EXIT_FINISHED),
    rs.TRIPPED: Outcome("tripped", EXIT_TRIPPED),
    rs.STOPPED: Outcome("stopped", EXIT_STOPPED),
    rs.LINK_LOST: Outcome("link_lost", EXIT_LINK_LOST),
}
REFUSED = Outcome("refused", EXIT_REFUSED)
