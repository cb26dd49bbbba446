"""What happened, in sentences: compares each record with the one before.

Takes decoded records in order; gives (kind, sentence) for every change a person would want to read
later: stages, prompts, answers, changes, marks, trips and how they clear, the verdict.
"""

from emberbed import words
from emberbed.bench import touch_story
from emberbed.bench.block_curve import minutes_text
from emberbed.bench.calls import PRESS_TEXT, go_on_text, most_text, prompt_text
from emberbed.bench.progress import Progress
from emberbed.bench.stage_text import degrees, nothing_heated, stage_text
from emberbed.profiles.plan_bytes import Plan
from emberbed.records import TickRecord
from emberbed.report.trip_cause import sensor_of_trip
from emberbed.trip_titles import clearing_words
from emberbed_fw import run_states as rs
from emberbed_fw.life import GO_ON_PROMPT
from emberbed_fw.stage_clock import AIR_AWAY_PROMPT
from emberbed_fw.trip_codes import NO_TRIP, PC_LINK_LOST, SENSOR_LIFTED
from emberbed_fw.units import NONE, TICKS_PER_S

Event = tuple[str, str]
QUIET_TICKS = 30 * TICKS_PER_S
BAD_VERDICTS = (rs.STOPPED, rs.LINK_LOST, rs.TRIPPED)
TOLD_OTHERWISE = (*rs.STAGED_STATES, rs.LOADED)  # by their stages; by whoever loads and arms


class Story:
    """Follows one run from its first record. `names` are the device's channel names by number."""

    def __init__(self, plan: Plan, prompts: list[str], names: dict[int, str]) -> None:
        self.plan = plan
        self.prompts = prompts
        self.names = names
        self.progress = Progress(plan)
        self._begin()

    def _begin(self) -> None:
        self.armed = False
        self._first_tick: int | None = None
        self._pressed_tick: int | None = None
        self._warned: dict[str, int] = {}  # by its few words, the tick in which it was on last

    def begin_next(self) -> None:
        """Follow the run that goes on with this one."""
        self.progress = Progress(self.plan, self.progress.left_stage, self.progress.left_ticks)
        self._begin()

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

    def follow(self, record: TickRecord, raw: bytes = b"") -> list[Event]:
        """Return what changed with this record; `raw` are its bytes, where there are any."""
        before = self.progress.newest
        was_near = self.progress.ticks_to_person() is not None
        air_was_ending = self.progress.air_ends_soon()
        was_lifted = self.progress.lifted
        self.progress.follow(record, raw)
        if record.state == rs.COLD_PROOF:
            self.armed = True
        if self._pressed_tick is None and record.state in rs.HEATING_STATES:
            self._pressed_tick = record.tick
        if before is None:
            self._first_tick = record.tick
            return self._warnings(record)
        return [
            *touch_story.touches(record, self.progress),
            *touch_story.beads(before, record, self.progress, self.names, was_lifted),
            *self._trips(before, record),
            *self._states(before, record),
            *touch_story.cooling_not_proven(before, record, self.progress, self.names),
            *self._stages(before, record),
            *self._prompts(before, record),
            *([] if was_near else touch_story.ahead(self.progress, self.prompts)),
            *([] if air_was_ending else touch_story.air_ends(self.progress)),
            *self._presses(before, record),
            *self._warnings(record),
        ]

    def seconds_since_press(self, tick: int) -> float | None:
        """Return the seconds from the press to `tick`, None before it."""
        pressed = self._pressed_tick
        return None if pressed is None else (tick - pressed) / TICKS_PER_S

    def _states(self, before: TickRecord, record: TickRecord) -> list[Event]:
        if record.state == before.state or record.state in TOLD_OTHERWISE:
            return []
        if nothing_heated(record) and record.state == rs.COOL:
            return [("state", words.NOTHING_HEATED)]
        return [("state", touch_story.sentence(words.state_words(record.state)))]

    def _stages(self, before: TickRecord, record: TickRecord) -> list[Event]:
        if record.stage in (before.stage, NONE) or nothing_heated(record):
            return []
        text = stage_text(self.plan, record.stage)
        number = f"Stage {record.stage + 1} of {len(self.plan.stages)}"
        return [("stage", f"{number}: {text}.")]

    def _prompts(self, before: TickRecord, record: TickRecord) -> list[Event]:
        if record.prompt in (before.prompt, NONE):
            return []
        if record.prompt == GO_ON_PROMPT:
            return [("prompt", go_on_text(self.progress))]
        board = degrees(record.channel_cdeg(self.plan.header["control0"]))
        kind = "air" if record.prompt == AIR_AWAY_PROMPT else "prompt"
        return [(kind, f"{prompt_text(record.prompt, self.prompts)}: board {board}.")]

    def _presses(self, before: TickRecord, record: TickRecord) -> list[Event]:
        if record.waits_for != rs.WAITS_PRESS or before.waits_for == rs.WAITS_PRESS:
            return []
        return [("press", f"{PRESS_TEXT}: {most_text(self.progress)}.")]

    def _warnings(self, record: TickRecord) -> list[Event]:
        """Tell a warning when it begins; one that comes and goes, only after a quiet while."""
        told = []
        for title, sentence in words.warning_words(record.warnings):
            last = self._warned.get(title, record.tick - QUIET_TICKS)
            if record.tick - last >= QUIET_TICKS:
                told.append(("warning", sentence))
            self._warned[title] = record.tick
        return told

    def _trips(self, before: TickRecord, record: TickRecord) -> list[Event]:
        told = []
        if record.trip != before.trip and record.trip != NO_TRIP:
            cause = words.trip_words(record.trip, self.blamed_sensor(record))
            told.append(("trip", f"{cause.happened} {cause.mend}"))
            told += _clears(record.trip, record.trips_of_cause)
        if record.second_trip != before.second_trip and record.second_trip != NO_TRIP:
            cause = words.trip_words(record.second_trip)
            told.append(("trip", f"And then: {cause.happened} {cause.mend}"))
        if record.verdict == rs.LINK_LOST != before.verdict:
            cause = words.trip_words(PC_LINK_LOST)
            told.append(("link", f"{cause.happened} {cause.mend}"))
            told += _clears(PC_LINK_LOST, record.trips_of_cause)
        return told

    def blamed_sensor(self, record: TickRecord) -> str | None:
        """Return the name of the sensor that a tripped record blames."""
        lifted = self.progress.lifted
        if record.trip == SENSOR_LIFTED and lifted is not None:
            return self.names.get(lifted)
        return sensor_of_trip(record, self.plan, self.names)


def _clears(code: int, trips_of_cause: int) -> list[Event]:
    clearing = clearing_words(code, trips_of_cause)
    return [("clears", clearing)] if clearing else []
