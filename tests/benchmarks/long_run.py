"""What a long bake costs: `python -m tests.benchmarks.long_run --hours 24` makes one and measures.

The readings are those of the simulated bench with four sensors, made by the real firmware in
process; they go through the real store in blocks of ten, with a snapshot every 5 minutes. Then the
commands of a user are timed on the file, each as a process. Prints figures, asserts nothing.
"""

import argparse
import resource
import statistics
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from emberbed import firmware_sources
from emberbed.device_description import decode_settings
from emberbed.profiles.compile import compile_plan
from emberbed.profiles.reader import parse_profile
from emberbed.store.run_store import MOST_RECORDS, RunStore
from emberbed.store.snapshots import pack_numbers
from emberbed_fw.snapshot import take_snapshot
from emberbed_sim.bench_device import bench_settings, parse_sensors
from emberbed_sim.closed_loop import ClosedLoop
from emberbed_sim.plant.heater import SimulatedHeater
from emberbed_sim.plant.parameters import bench_for_board
from tests.host.store.synthetic_run import drawn_record, facts
from tests.support.command import COMMAND, environment
from tests.support.profiles import hold_profile
from tests.support.recording_disk import recording

SENSORS = ["top_near_chip:board_centre", "edge:board_edge", "left:board_edge", "back:board_edge"]
SNAPSHOT_TICKS = 3000
HOUR_S = 3600
ALONE_COMMITS = 300
LONGEST_S = 3600


def bake(hours: float) -> tuple[bytes, bytes, str, ClosedLoop]:
    """Return settings, plan, profile and the loop of a bake at 110 °C that may last so long.

    2 h of that are kept for the cooling.
    """
    held_s = round(hours * HOUR_S) - 9000 if hours > 4 else round(hours * HOUR_S / 2)
    text = hold_profile(for_s=held_s, to_c=110)
    text = text.replace(f"for_s = {held_s}\n", f"for_s = {held_s}\nlongest_s = {held_s + 300}\n")
    bench = bench_for_board(60, 100, 70, parse_sensors(SENSORS))
    settings = bench_settings(bench)
    description = decode_settings(settings)
    profile = parse_profile(text.encode(), "bake.toml").model
    plan = compile_plan(profile, description.channel_names(), description.ceilings_cdeg())
    return settings, plan, text, ClosedLoop(settings, plan, SimulatedHeater(bench, 1))


def blocks(loop: ClosedLoop, ticks: int) -> Iterator[list[bytes]]:
    block: list[bytes] = []
    for packed in loop.run(ticks):
        block.append(packed)
        if len(block) == MOST_RECORDS:
            yield block
            block = []
    if block:
        yield block


def record_bake(store: RunStore, hours: float) -> int:
    """Store a bake; tell what storing cost."""
    settings, plan, text, loop = bake(hours)
    digest = firmware_sources.installed_digest()
    run_id = store.begin_run(
        facts(settings=settings, plan=plan, profile_toml=text, firmware_digest=digest)
    )
    taken_ms, due = [], SNAPSHOT_TICKS
    for block in blocks(loop, round(hours * HOUR_S * 10)):
        began_s = time.perf_counter()
        store.append(run_id, block)
        taken_ms.append(1000 * (time.perf_counter() - began_s))
        if loop.machine.tick >= due:
            store.add_snapshot(run_id, loop.machine.tick, pack_numbers(take_snapshot(loop.machine)))
            due += SNAPSHOT_TICKS
    store.end_run(run_id, "finished", 0)
    taken_ms.sort()
    print(
        f"storing ten records: median {statistics.median(taken_ms):.2f} ms, 99.9 of 100"
        f" {taken_ms[round(0.999 * (len(taken_ms) - 1))]:.1f} ms, longest {taken_ms[-1]:.0f} ms"
    )
    return run_id


def commit_alone(folder: Path) -> None:
    """Tell what a record costs that is committed alone, as in real time."""
    with recording() as disk, RunStore.open(folder / "alone.sqlite") as store:
        run_id = store.begin_run(facts(plan=bytes(6000)))
        store.append(run_id, [drawn_record(0)])
        before, began_s = len(disk.operations), time.perf_counter()
        for tick in range(1, ALONE_COMMITS + 1):
            store.append(run_id, [drawn_record(tick)])
        taken_ms = 1000 * (time.perf_counter() - began_s) / ALONE_COMMITS
        written = sum(len(one.octets) for one in disk.operations[before:]) / ALONE_COMMITS
    print(f"a record committed alone: {written / 1024:.1f} KiB to the disk, {taken_ms:.2f} ms")


def timed(name: str, *words: object) -> None:
    """Run a command; tell its time on the wall and in the processor, its children's too."""
    before, began_s = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run(
        [*COMMAND, *map(str, words)], capture_output=True, env=environment(), timeout=LONGEST_S
    )
    taken_s = time.perf_counter() - began_s
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    failed = "" if done.returncode == 0 else f" (exit code {done.returncode}: {done.stderr[-200:]})"
    print(f"{name}: {taken_s:.2f} s, {cpu_s:.2f} s of processor{failed}", flush=True)


def measure(hours: float, with_replay: bool) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "runs.sqlite"
        commit_alone(Path(folder))
        with RunStore.open(path) as store:
            run_id = record_bake(store, hours)
            ticks = store.run(run_id).ticks
        size, readings = path.stat().st_size, ticks * len(SENSORS)
        print(
            f"{ticks} ticks, {readings} readings: {size / 1e6:.1f} MB, {size / readings:.2f} bytes"
            f" per reading, {size / ticks:.1f} per tick"
        )
        time_commands(path, Path(folder), with_replay)


def time_commands(path: Path, folder: Path, with_replay: bool) -> None:
    """Open, list, show, export .. the newest run of a store."""
    began_s = time.perf_counter()
    with RunStore.open(path) as store:
        opened_s = time.perf_counter() - began_s
        list_began_s = time.perf_counter()
        store.runs()
        print(
            f"opening {1000 * opened_s:.1f} ms, listing"
            f" {1000 * (time.perf_counter() - list_began_s):.1f} ms in process"
        )
    where = ("--store", path)
    timed("emberbed --version", "--version")
    timed("runs list", "runs", "list", *where)
    timed("runs show", "runs", "show", *where)
    for form in ("csv", "parquet", "json"):
        timed(f"runs export {form}", "runs", "export", "--to", folder / f"run.{form}", *where)
    timed("runs page", "runs", "page", "--to", folder / "run.html", *where)
    timed("runs audit", "runs", "audit", *where)
    timed("runs bundle", "runs", "bundle", "last", folder / "run.zip", *where)
    if with_replay:
        timed("runs replay in both", "runs", "replay", *where)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--replay", action="store_true", help="replay it too")
    asked = parser.parse_args()
    measure(asked.hours, asked.replay)


if __name__ == "__main__":
    main()
