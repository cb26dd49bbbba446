"""Going on after a trip that a person has mended: when it is asked for, from where, and its first
record. Pure.
"""

from emberbed.bench.progress import Progress
from emberbed.bench.stage_text import degrees
from emberbed.records import TickRecord, commands_of, decode_record
from emberbed_fw import messages
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.units import NONE

NEW_RUN = NONE  # ARM's stage for a run that goes on with none


def was_answered(record: TickRecord) -> bool:
    """Tell whether a person, from wherever, has said in this tick that the run is to go on."""
    return record.prompt == GO_ON_PROMPT and record.touch == messages.ANSWER


def place_of(progress: Progress) -> tuple[int, int]:
    """Return where to go on: the stage that was running, and the ticks of a hold already done."""
    stage = 0 if progress.left_stage == NONE else progress.left_stage
    holds = progress.plan.stages[stage]["kind"] == layout.HOLD
    return stage, progress.left_ticks if holds else 0


def from_text(progress: Progress) -> str:
    """Return the same for a person."""
    record = progress.newest
    board = None if record is None else record.channel_cdeg(progress.plan.header["control0"])
    return f"from {degrees(board, 0)} with stage {place_of(progress)[0] + 1}"


def first_of_next(raw_records: list[bytes]) -> int | None:
    """Return which of these records is the first of the run that goes on, None for none yet."""
    for at, raw in enumerate(raw_records):
        if decode_record(raw).state == rs.COLD_PROOF and any(
            kind == messages.ARM for kind, _payload in commands_of(raw)
        ):
            return at
    return None
