"""What happened, in sentences: compares each record with the one before.

Takes decoded records in order; gives (kind, sentence) for every change a person would want to read
later: stages, prompts, answers, trips, the verdict.
"""

from emberbed import words
from emberbed.bench.block_curve import minutes_text
from emberbed.bench.stage_text import degrees, nothing_heated, stage_text
from emberbed.profiles.compile import Plan
from emberbed.records import TickRecord
from emberbed.report.trip_cause import sensor_of_trip
from emberbed_fw import run_states as rs
from emberbed_fw.sequencer import LONGER_PROMPT
from emberbed_fw.trip_codes import NO_TRIP, PC_LINK_LOST
from emberbed_fw.units import NONE, TICKS_PER_S

Event = tuple[str, str]
BAD_VERDICTS = (rs.STOPPED, rs.LINK_LOST, rs.TRIPPED)
LONGER_TEXT = "This stage takes longer than planned. Answer to give it more time"
PRESS_TEXT = "Hold the button on the device for a second to start heating"
TOLD_OTHERWISE = (*rs.STAGED_STATES, rs.LOADED)  # by their stages; by whoever loads and arms


def prompt_text(prompt: int, prompts: list[str]) -> str:
    """Return what prompt number `prompt` asks."""
    if prompt == LONGER_PROMPT:
        return LONGER_TEXT
    return prompts[prompt] if prompt < len(prompts) else "Answer when you are ready"


class Story:
    """Follows one run from its first record. `names` are the device's channel names by number."""

    def __init__(self, plan: Plan, prompts: list[str], names: dict[int, str]) -> None:
        self.plan = plan
        self.prompts = prompts
        self.names = names
        self.armed = False
        self._first_tick: int | None = None
        self._pressed_tick: int | None = None
        self._before: TickRecord | None = None

    def disarm(self) -> None:
        """Expect a new arming."""
        self.armed = False

    def seconds_of(self, tick: int) -> int:
        """Return the whole seconds from the run's first record to `tick`."""
        first = tick if self._first_tick is None else self._first_tick
        return max(0, round((tick - first) / TICKS_PER_S))  # rounded as on the run's page

    def run_clock(self, tick: int) -> str:
        """Return how long the run has been going: since the press, before it since arming."""
        if self._pressed_tick is None:
            return f"{self.clock(tick).strip()} since arming"
        seconds = round((tick - self._pressed_tick) / TICKS_PER_S)
        return f"{minutes_text(max(0, seconds))} since the press"

    def clock(self, tick: int | None) -> str:
        """Return when in the run `tick` was, in a fixed width for a column of times."""
        if tick is None:
            return "  --:--"
        return f"{minutes_text(self.seconds_of(tick)):>7}"

    def follow(self, record: TickRecord) -> list[Event]:
        """Return what changed with this record."""
        before, self._before = self._before, record
        if record.state == rs.COLD_PROOF:
            self.armed = True
        if self._pressed_tick is None and record.state in rs.HEATING_STATES:
            self._pressed_tick = record.tick
        if before is None:
            self._first_tick = record.tick
            return []
        return [
            *self._answers(before, record),
            *self._trips(before, record),
            *self._states(before, record),
            *self._stages(before, record),
            *self._prompts(before, record),
            *self._presses(before, record),
        ]

    def _states(self, before: TickRecord, record: TickRecord) -> list[Event]:
        if record.state == before.state or record.state in TOLD_OTHERWISE:
            return []
        if nothing_heated(record) and record.state == rs.COOL:
            return [("state", words.NOTHING_HEATED)]
        return [("state", _sentence(words.state_words(record.state)))]

    def _stages(self, before: TickRecord, record: TickRecord) -> list[Event]:
        if record.stage in (before.stage, NONE) or nothing_heated(record):
            return []
        text = stage_text(self.plan, record.stage)
        number = f"Stage {record.stage + 1} of {len(self.plan.stages)}"
        return [("stage", f"{number}: {text}.")]

    def _prompts(self, before: TickRecord, record: TickRecord) -> list[Event]:
        if record.prompt in (before.prompt, NONE):
            return []
        board = degrees(record.channel_cdeg(self.plan.header["control0"]))
        return [("prompt", f"{prompt_text(record.prompt, self.prompts)}: board {board}.")]

    def _presses(self, before: TickRecord, record: TickRecord) -> list[Event]:
        if record.waits_for != rs.WAITS_PRESS or before.waits_for == rs.WAITS_PRESS:
            return []
        return [("press", f"{PRESS_TEXT}.")]

    def _answers(self, before: TickRecord, record: TickRecord) -> list[Event]:
        if before.prompt in (record.prompt, NONE) or record.verdict in BAD_VERDICTS:
            return []
        return [("answer", "Answered.")]

    def _trips(self, before: TickRecord, record: TickRecord) -> list[Event]:
        told = []
        if record.trip != before.trip and record.trip != NO_TRIP:
            cause = words.trip_words(record.trip, sensor_of_trip(record, self.plan, self.names))
            told.append(("trip", f"{cause.happened} {cause.mend}"))
        if record.second_trip != before.second_trip and record.second_trip != NO_TRIP:
            cause = words.trip_words(record.second_trip)
            told.append(("trip", f"And then: {cause.happened} {cause.mend}"))
        if record.verdict == rs.LINK_LOST != before.verdict:
            cause = words.trip_words(PC_LINK_LOST)
            told.append(("link", f"{cause.happened} {cause.mend}"))
        return told


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."
