"""Runs of the real firmware in which a person has a hand: a profile as text, a board that follows.

The board goes to the setpoint at no more than RISE_C or FALL_C a tick, as a good heater would make
it; what a person does is called between the ticks. `store_hand_run` stores what came of it.
"""

from dataclasses import fields

from emberbed.device_description import decode_settings
from emberbed.profiles.compile import compile_plan, decode_plan
from emberbed.profiles.reader import parse_profile
from emberbed.records import decode_record
from emberbed.store.runs import StoredRun
from emberbed_fw import messages
from emberbed_fw import run_states as rs
from emberbed_fw.settings import CONVERTER_MAX31855K
from emberbed_fw.units import CALIBRATION_ONE_Q12, NONE, TICKS_PER_S
from tests.host.store.synthetic_run import facts
from tests.support.bench import Bench
from tests.support.plans import bench_settings

CHANNELS = tuple(
    (name, CONVERTER_MAX31855K, 26000, 0, CALIBRATION_ONE_Q12)
    for name in ("top_near_chip", "edge", "chip_top")
)
SETTINGS = bench_settings(channels=CHANNELS)
RISE_C = 0.08
FALL_C = 0.2
HOTTER_C = 90.0  # the chip's top under hot air
ENDED = (rs.FINISHED, rs.STOPPED, rs.LINK_LOST, rs.TRIPPED)

PROFILE = """# A logger's radio chip comes off.
name = "Weather logger, radio chip"
alloy = "Sn63Pb37"
laminate = "FR-4 Tg 150"
[sensors]
top_near_chip = "control"
edge = "edge"
chip_top = { role = "chip_top", in_jet = true, limit_c = 245 }

# dry-out
[[stages]]
kind = "ramp"
to_c = 80
rate_c_per_s = 0.6        # gently

[[stages]]
kind = "hold"
for_s = 60
longest_s = 200

# the flux melts at once
[[stages]]
kind = "wait"
prompt = "Apply flux"
longest_s = 120

# soak
[[stages]]
kind = "ramp"
to_c = 130                # far below Tg
rate_c_per_s = 0.6

[[stages]]
kind = "hold"
for_s = 90

# the work
[[stages]]
kind = "hot_air"
expects = "chip_off"
longest_s = 120

[[stages]]
kind = "cool"
below_c = 50
fastest_c_per_s = 2.0
"""


class HandRun(Bench):
    """One run of `profile`; the chip's top follows the board, and hot air while that is on."""

    def __init__(self, profile=PROFILE, room_c=25.0):
        self.profile = profile
        self.model = parse_profile(profile.encode(), "the profile").model
        description = decode_settings(SETTINGS)
        plan = compile_plan(self.model, description.channel_names(), description.ceilings_cdeg())
        super().__init__(plan, SETTINGS)
        self.decoded_plan = decode_plan(plan)
        self.room_c = room_c
        self.board_c = [room_c, room_c - 2.0, room_c]

    def sample(self, inputs):
        control = self.board_c[0]
        asked_c = self.machine.setpoint_cdeg() / 100
        step = min(RISE_C, max(-FALL_C, asked_c - control)) if asked_c > -200 else -FALL_C
        control = max(self.room_c, control + step)
        chip_c = control + (HOTTER_C if self.machine.air_is_on() else 0.0)
        chip_c = self.board_c[2] + min(2.0, max(-2.0, chip_c - self.board_c[2]))
        self.board_c = [control, control - 2.0, chip_c]
        super().sample(inputs)

    def start(self):
        """Go to the first tick of the first stage."""
        return self.to_run()

    def seconds(self, seconds):
        self.tick(round(seconds * TICKS_PER_S))
        return self

    def until_stage(self, number, most_s=900):
        """Run until stage `number`, from 1, has begun."""
        for _tick in range(round(most_s * TICKS_PER_S)):
            if self.record.stage == number - 1 and self.record.state in rs.SHOWN_STATES:
                return self
            self.tick()
        raise AssertionError(f"stage {number} not reached, still in {self.record.stage + 1}")

    def did(self, touch, amount=0, source=messages.BY_TERMINAL):
        """Do something that the device must take."""
        refusal = self.touch(touch, amount, source)
        assert refusal == messages.DONE, messages.REFUSAL_NAMES[refusal]
        return self

    def answered(self):
        """Answer what the device asks, or will ask in the next tick."""
        if self.machine.prompt() == NONE:
            self.tick()
        assert self.machine.prompt() != NONE
        self.acknowledge(self.machine.prompt())
        self.tick()
        return self

    def finish(self, most_s=1500):
        """Answer whatever is asked, and cool."""
        for _tick in range(round(most_s * TICKS_PER_S)):
            if self.state in ENDED:
                return self
            prompt = self.machine.prompt()
            if prompt != NONE and self.record.stage_elapsed % 100 == 99:
                self.acknowledge(prompt)
            self.tick()
        raise AssertionError("the run did not end")

    def tape_tick(self, number):
        """Return the tick in which stage `number`, from 1, began."""
        return next(r.tick for r in self.records() if r.stage == number - 1)

    def held_at_c(self):
        """Return the setpoint while a person first held it, to a tenth."""
        held = next(r for r in self.records() if r.waits_for == rs.WAITS_HELD)
        return float(f"{held.setpoint_cdeg / 100:.1f}")

    def plateaus(self):
        """Return the ticks at each setpoint in C that stood for 10 s and more."""
        ticks = {}
        for record in self.records():
            if record.state in rs.STAGED_STATES:
                asked_c = record.setpoint_cdeg / 100
                ticks[asked_c] = ticks.get(asked_c, 0) + 1
        return {asked_c: count for asked_c, count in ticks.items() if count >= 100}

    def records(self):
        return [decode_record(octets) for octets in self.tape]


class TapeStore:
    """What a run store gives of one run that was never written to a disk."""

    def __init__(self, run, **changes):
        known = {"id": 1, "state": "finished", "plan": run.plan, "settings": SETTINGS,
                 "profile_toml": run.profile, "profile_name": run.model.name}  # fmt: skip
        blank = {field.name: None for field in fields(StoredRun)}
        self.run = StoredRun(**{**blank, **known, **changes})
        self.run_records = run.records()

    def records(self, run_id, from_tick=0):
        assert run_id == self.run.id
        return (record for record in self.run_records if record.tick >= from_tick)


def store_hand_run(store, run, end=("finished", 0), events=(), **changes):
    """Store the run's records and return its number; `events` are (tick, kind, sentence)."""
    made = {"plan": run.plan, "settings": SETTINGS, "profile_toml": run.profile,
            "profile_name": run.model.name}  # fmt: skip
    run_id = store.begin_run(facts(**{**made, **changes}))
    for first in range(0, len(run.tape), 10):
        store.append(run_id, run.tape[first : first + 10])
    for event in events:
        store.add_event(run_id, *event)
    if end:
        store.end_run(run_id, *end, limits_exceeded=0)
    return run_id
