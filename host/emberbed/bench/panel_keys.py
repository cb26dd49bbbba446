"""The bottom of the panel: which keys do something now, the most urgent ones in its last line."""

from emberbed.bench.key_table import answer_hint
from emberbed.bench.outcome import OUTCOMES
from emberbed.bench.progress import Progress
from emberbed.records import TickRecord
from emberbed_fw import run_states as rs

BETWEEN = "   "


def keys_of(record: TickRecord, progress: Progress, virtual: bool, stops: int) -> str:
    """Return the last line's keys; `stops` is how often Ctrl-C was pressed."""
    if record.state in OUTCOMES:
        return ""
    keys = ["Ctrl-C twice: leave, heat stays off"]  # first: a narrow terminal cuts the end
    if stops:
        keys = ["Ctrl-C: leave, heat stays off"]
    elif record.verdict == rs.NO_VERDICT:
        keys = ["Ctrl-C: heat off"]
    answer = answer_hint(progress)
    if answer:
        keys.append(f"Enter: {answer}")
    if virtual and record.waits_for == rs.WAITS_PRESS:
        keys.append("B: hold the virtual device's button")
    return BETWEEN.join(keys)


def lines_of(hints: list[str], columns: int, rows: int) -> list[str]:
    """Return the other keys in `rows` lines of at most `columns`; what does not fit is left out."""
    lines = [""]
    for hint in hints:
        longer = f"{lines[-1]}{BETWEEN}{hint}" if lines[-1] else hint
        if len(longer) <= columns:
            lines[-1] = longer
        elif len(lines) < rows and len(hint) <= columns:
            lines.append(hint)
    return lines + [""] * (rows - len(lines))
