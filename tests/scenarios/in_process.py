"""A row in the closed loop, in process: its records, and what a host would have told."""

from emberbed.bench.prepare import prepare
from emberbed.bench.story import Story
from emberbed.device_description import decode_settings
from emberbed.profiles.compile import decode_plan
from emberbed.records import decode_record
from emberbed_fw import messages, replay
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.units import NONE, TICKS_PER_S
from emberbed_sim.bench_device import bench_settings, parse_sensors
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.faults import parse_fault
from emberbed_sim.operator import Operator, touch_request
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import bench_for_board
from tests.scenarios.rows import BOARD, FOR_GOOD_S, acts_of, profile_of


class HeaterHands:
    """What an act does to a virtual device, done to the simulated heater itself."""

    def __init__(self, heater):
        self._heater = heater
        self.lift, self.press_down = heater.lift, heater.press
        self.finger, self.change_board = heater.finger, heater.change_board

    def blow(self, on):
        if on:
            self._heater.blow()
        else:
            self._heater.blow(None)


class InProcess:
    """A row in the closed loop: `records` and `sentences`, as a host would tell them."""

    def __init__(self, row):
        self._row = row
        bench = bench_for_board(*BOARD, parse_sensors(row.get("sensors", ())))
        faults = [parse_fault(text) for text in row.get("faults", ())]
        self._heater = SimulatedHeater(bench, 1, faults)
        settings = bench_settings(bench)
        description = decode_settings(settings)
        prepared = prepare(profile_of(row), description)
        own_answers = row.get("answers") is None
        operator = Operator(
            answers_after_s=20.0 if own_answers else FOR_GOOD_S,
            air_for_s=78.0 if own_answers else FOR_GOOD_S,
            goes_on=own_answers,
        )
        self._loop = ClosedLoop(settings, prepared.plan, self._heater, operator, tuple(faults))
        self._story = Story(
            decode_plan(prepared.plan), prepared.prompts, description.fitted_names()
        )
        self._acts = acts_of(row)
        self._late = sorted(row.get("answers_at", ()), key=lambda late: late["at_s"])
        self._early = list(row.get("marks_before_press", ()))
        self._pressed = None
        self._asked = (NONE, 0)
        self.raw, self.records, self.sentences = [], [], []
        for raw in self._loop.run():
            self._follow(raw)

    def _follow(self, raw):
        record = decode_record(raw)
        if replay.goes_on(raw, len(raw)) and replay.arms(raw, len(raw)):
            self._story.begin_next()
        self.raw.append(raw)
        self.records.append(record)
        self.sentences += [told for _kind, told in self._story.follow(record, raw)]
        if self._pressed is None and record.state in rs.HEATING_STATES:
            self._pressed = record.tick
        self._do(record)

    def _do(self, record):
        """Ask and do, for the next tick, what the operator cannot be told."""
        while self._early and record.state == rs.COLD_PROOF:
            self._ask(*touch_request(messages.MARK, self._early.pop()))
        if self._pressed is None:
            return
        since_s = (record.tick - self._pressed) / TICKS_PER_S
        while self._acts and since_s >= self._acts[0].after_s:
            self._act(self._acts.pop(0))
        while self._late and since_s >= self._late[0]["at_s"]:
            self._answer(self._late.pop(0)["prompt"])
        self._answer_listed(record)

    def _act(self, act):
        if act.deed.move is not None:
            act.deed.move(HeaterHands(self._heater), act.amount)
            return
        wish = act.deed.wish(act.amount)
        if act.name == "stop":
            self._ask(messages.STOP, bytes([wish.reason]))
        else:
            self._ask(*touch_request(wish.kind, wish.amount))

    def _answer_listed(self, record):
        prompt, since = self._asked
        if record.prompt != prompt:
            self._asked = (record.prompt, record.tick)
        elif record.tick - since == 20 * TICKS_PER_S and prompt in (self._row.get("answers") or ()):
            stage = self._story.progress.kind()
            if stage == layout.HOT_AIR and not self._story.progress.air_on():
                self._heater.blow()
            self._answer(prompt)

    def _answer(self, prompt):
        self._ask(messages.ACK_PROMPT, bytes([prompt, messages.BY_SCRIPT]))

    def _ask(self, kind, payload):
        assert self._loop.machine.commands.put(kind, payload, 0, len(payload))
