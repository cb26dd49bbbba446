"""The self-check of a run: a copy of the firmware follows it, and a difference is told at once.

Only the device decides about heat; a difference raises an alarm, and stops the run where a person
asked for that. A device with other firmware than the one installed here cannot be followed, which
is told when the run begins.
"""

from collections.abc import Iterator, Sequence

from emberbed import firmware_sources
from emberbed.plain_text import printable
from emberbed.replay.play import Difference
from emberbed.replay.shadow import Shadow

ALARM, TRIP, OFF = "alarm", "trip", "off"
MODES = (ALARM, TRIP, OFF)
SELF_CHECK = "self_check"  # the kind of its events
LOST = (
    "The self-check cannot follow any more, as readings are missing; it begins again with the"
    " device's next full state."
)
STOPPING = "As asked for with --self-check trip, the heat is switched off."


class SelfCheck:
    """Follows one command's runs; without a `shadow` it only tells `why_off`, once."""

    def __init__(
        self, shadow: Shadow | None = None, trips: bool = False, why_off: str = ""
    ) -> None:
        self._shadow = shadow
        self._trips = trips
        self._told_lost = 0
        self._to_tell = [why_off] if why_off else []
        self.wants_stop = False

    def arming(self) -> None:
        """The device is about to be armed."""
        self.wants_stop = False
        if self._shadow is not None:
            self._shadow.arming()

    def armed(self, counts: bytes) -> None:
        """Take what ARM was answered."""
        if self._shadow is not None:
            self._note(self._shadow.armed(counts))

    def snapshot(self, tick: int, numbers: Sequence[int]) -> None:
        """Take the device's memory after a tick."""
        if self._shadow is not None:
            self._note(self._shadow.snapshot(tick, numbers))

    def follow(self, record: bytes, tick: int) -> Iterator[tuple[int, str, str]]:
        """Take the next stored record; give tick, kind and sentence of what there is to tell."""
        if self._shadow is not None:
            self._note(self._shadow.follow(record))
            if self._shadow.lost > self._told_lost:
                self._told_lost = self._shadow.lost
                self._to_tell.append(LOST)
        to_tell, self._to_tell = self._to_tell, []
        return ((tick, SELF_CHECK, sentence) for sentence in to_tell)

    def _note(self, difference: Difference | None) -> None:
        if difference is not None:
            self.wants_stop = self._trips
            self._to_tell.append(_told(difference) + (f" {STOPPING}" if self._trips else ""))


def _told(difference: Difference) -> str:
    if not difference.field:
        what = f"the copy of its program failed ({difference.replayed})"
    else:
        what = f"{difference.field} was {difference.recorded} and had to be {difference.replayed}"
    return (
        f"Self-check: the device did not do what its own readings ask for, {what}. Its program or"
        " memory may be damaged: watch the board, keep the record, and do not trust this device"
        " before that is explained."
    )


def self_check_for(mode: str, settings: bytes, plan: bytes, digest: str) -> SelfCheck:
    """Return the check for a device with this description, plan and firmware."""
    if mode == OFF:
        return SelfCheck()
    if not firmware_sources.matches(digest, firmware_sources.installed_digest()):
        other = printable(digest[: 2 * firmware_sources.TOLD_BYTES])
        why_off = (
            f"The self-check is off: the device runs other firmware (fingerprint {other}) than the"
            " one installed here."
        )
        return SelfCheck(why_off=why_off)
    return SelfCheck(Shadow(settings, plan), mode == TRIP)
