"""What a replay came to, in sentences for a person."""

from collections.abc import Callable, Iterator

from emberbed.replay.play import Difference, Replayed

Clock = Callable[[int], str]  # a tick as the time in its run

_WHY = {
    "arming": "they lie before the arming, where no replay can begin",
    "gap": "readings before them are missing",
    "difference": "they follow a difference",
}


def sentences_of(replayed: Replayed, clock: Clock) -> Iterator[str]:
    """Give what one interpreter made of a run, the differences first."""
    for difference in replayed.differences:
        yield f"{replayed.interpreter}: {difference_text(difference, clock)}"
    equal = replayed.equal_ticks
    if equal:
        rest = "" if replayed.differences else ": every output is equal"
        yield f"{replayed.interpreter}: {equal} readings give the recorded outputs again{rest}."
    else:
        yield f"{replayed.interpreter}: no reading could be proven."
    for span in replayed.unproven:
        yield (
            f"{replayed.interpreter}: not proven are {span.ticks} readings from {clock(span.first)}"
            f" to {clock(span.last)} (ticks {span.first} to {span.last}): {_WHY[span.why]}."
        )


def difference_text(difference: Difference, clock: Clock) -> str:
    """Say where a record and a replay part, with both values."""
    at = f"at {clock(difference.tick)} (tick {difference.tick})"
    if not difference.field:
        return f"the firmware failed in the replay {at}: {difference.replayed}."
    return (
        f"{at} {difference.field} is {difference.recorded} in the record and"
        f" {difference.replayed} in the replay."
    )
