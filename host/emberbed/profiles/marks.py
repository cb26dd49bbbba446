"""The events a person is expected to mark in a stage, in their order, by name and as the plan holds
them: MARK_BITS each, the first one lowest.
"""

from emberbed.profiles.model import MARKS, HotAir, Stage, Wait
from emberbed_fw.plan import MARK_BITS


def calls_for_flux(prompt: str) -> bool:
    """Tell whether a prompt speaks of flux."""
    return "flux" in prompt.casefold()


def marks_of(stage: Stage) -> tuple[str, ...]:
    """Return the names of the events expected in `stage`."""
    if isinstance(stage, HotAir):
        chip = () if stage.expects == "nothing" else (stage.expects,)
        return ("nozzle_on", "solder_moves", *chip, "air_away")
    if not isinstance(stage, Wait):
        return ()
    if stage.marks is not None:
        return tuple(stage.marks)
    return ("flux_on",) if calls_for_flux(stage.prompt) else ()


def packed_marks(stage: Stage) -> int:
    """Return the same as the plan's field."""
    codes = [MARKS.index(name) + 1 for name in marks_of(stage)]
    return sum(code << MARK_BITS * place for place, code in enumerate(codes))
