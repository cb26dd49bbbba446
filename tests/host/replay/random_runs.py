"""Random runs with random faults, stored, replayed in every interpreter, and one flipped bit found.

`python -m tests.host.replay.random_runs --runs 100` makes them and tells the counts. What goes
wrong in a run is anything of the simulation's catalogue that reaches the firmware as an input;
faults of the device itself (a skipped step, a flipped bit in its memory) are what a replay is there
to find, and left out.
"""

import argparse
import random
import tempfile
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from emberbed.records import decode_record
from emberbed.replay.play import CPYTHON, Replayed, interpreters, replay_run
from emberbed.store.run_store import RunStore
from emberbed.words import trip_name
from emberbed_fw import messages
from emberbed_fw.record import FIXED_BYTES, INPUT_BYTES
from emberbed_sim.closed_loop import Operator
from emberbed_sim.operator import Act
from emberbed_sim.plant.fault_catalogue import CATALOGUE
from emberbed_sim.plant.fault_kind import ON_DEVICE
from tests.host.replay.recorded import SETTINGS, open_store, store_records
from tests.support.profiles import hold_profile
from tests.support.tapes import loop_of, plan_of

INPUTS_OF_DEVICE = ("late_ticks", "clock_wrong", "heap_low", "button_stuck")
KINDS = [
    kind
    for kind in CATALOGUE
    if not kind.only and (kind.acts_on != ON_DEVICE or kind.name in INPUTS_OF_DEVICE)
    if kind.name != "frames_repeated"  # more in a tick than the loop without a wire can take
]
MOST_TICKS = 4000
TOUCHES = ((messages.HOLD_HERE, 0), (messages.GO_ON, 0), (messages.OFFSET, 150),
           (messages.OFFSET, -200), (messages.EXTEND, 300), (messages.NEXT_STAGE, 0),
           (messages.LAST_PLATEAU, 0), (messages.MARK, 0), (messages.COOL_DOWN, 0))  # fmt: skip


@dataclass(frozen=True)
class RandomRun:
    """What chance made; `faults` as a person writes them."""

    seed: int
    faults: tuple[str, ...]
    plan: bytes
    records: tuple[bytes, ...]

    @property
    def trip(self) -> str:
        return trip_name(decode_record(self.records[-1]).trip) or "none"


def make(seed: int) -> RandomRun:
    """Return the run of a seed."""
    chance = random.Random(seed)
    profile = hold_profile(
        for_s=chance.randrange(10, 60), to_c=chance.randrange(52, 75),
        prompt=chance.choice(["", "Clean the pads"]),
    )  # fmt: skip
    faults = []
    for kind in chance.sample(KINDS, chance.randrange(3)):
        length = "" if kind.at_once else chance.choice(["", f":{chance.randrange(1, 20)}s"])
        faults.append(f"{kind.name}@{chance.randrange(5, 200)}s{length}")
    acts = tuple(
        Act(chance.uniform(1, 150), *chance.choice(TOUCHES)) for _act in range(chance.randrange(3))
    )
    operator = Operator(
        answers_after_s=chance.uniform(2, 30), goes_on=chance.random() < 0.5, acts=acts,
        stops_at_s=chance.choice([None, None, None, chance.uniform(5, 200)]),
    )  # fmt: skip
    loop = loop_of(profile, *faults, seed=seed, operator=operator)
    return RandomRun(seed, tuple(faults), plan_of(profile)[0], tuple(loop.run(MOST_TICKS)))


def replayed(store: RunStore, run: RandomRun, wanted: Iterable[str] = ()) -> list[Replayed]:
    """Store a run and replay it, in the interpreters that are here if no others are wanted."""
    run_id = store_records(store, run.records, SETTINGS, run.plan)
    return replay_run(store, store.run(run_id), wanted or interpreters())


def is_equal(run: RandomRun, results: list[Replayed]) -> bool:
    return all(
        not one.differences and one.equal_ticks == len(run.records) and not one.unproven
        for one in results
    )


def with_a_flipped_bit(run: RandomRun, seed: int) -> tuple[RandomRun, int]:
    """Return the run with one bit of one output of one record flipped, and the record's tick."""
    chance = random.Random(seed)
    at = chance.randrange(len(run.records))
    packed = bytearray(run.records[at])
    packed[chance.randrange(INPUT_BYTES, FIXED_BYTES)] ^= 1 << chance.randrange(8)
    records = (*run.records[:at], bytes(packed), *run.records[at + 1 :])
    return RandomRun(run.seed, run.faults, run.plan, records), decode_record(run.records[at]).tick


def found_at(results: list[Replayed]) -> set[int]:
    return {one.differences[0].tick if one.differences else -1 for one in results}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=100)
    asked = parser.parse_args()
    equal = flips = ticks = 0
    trips: Counter[str] = Counter()
    for seed in range(asked.runs):
        with tempfile.TemporaryDirectory() as folder, open_store(Path(folder)) as store:
            run = make(seed)
            trips[run.trip] += 1
            ticks += len(run.records)
            good = is_equal(run, replayed(store, run))
            equal += good
            if not good:
                print(f"not equal: seed {seed}, {run.faults}", flush=True)
            spoilt, tick = with_a_flipped_bit(run, seed)
            flips += found_at(replayed(store, spoilt, [CPYTHON])) == {tick}
    print(
        f"{asked.runs} runs, {ticks} ticks, in {' and '.join(interpreters())}: {equal} equal;"
        f" a flipped bit in each: {flips} found at their tick; trips: {dict(trips)}"
    )


if __name__ == "__main__":
    main()
