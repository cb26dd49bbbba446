"""All figures as text: a table for a screen, and the part of docs/performance.md that is made."""

import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path

from tests.benchmarks.speed import device, host, many, simulation
from tests.benchmarks.speed.figures import Figure

COMMITTED = Path(__file__).with_name("committed.toml")
GROUPS = {
    "Simulation": (simulation.lumped, simulation.batch, simulation.grid, simulation.closed_loop),
    "Device": (device.tick,),
    "Host": (host.frames, host.start_up),
}
# against a line or a clock: these move with the machine, so nothing is held to them
UNHELD = ("tick/whole", "frames/line", "many/process", "many/cluster")
SLOWER = 1.5  # than the committed ratio: a failure
HEAD = (
    "Made by `python -m tests.benchmarks --write`, everything in one run on one machine, processor"
    " time, best of some turns. Only the ratios are results: above 1 ours is so many times cheaper."
)


def committed() -> dict[str, float]:
    return tomllib.loads(COMMITTED.read_text(encoding="utf-8"))


def commit(figures: Sequence[Figure]) -> None:
    lines = [f'"{one.name}" = {one.ratio:.3g}\n' for one in figures if one.name not in UNHELD]
    head = (
        "# Ratios of `python -m tests.benchmarks --write`; a test fails where one is 1.5 x worse.\n"
    )
    COMMITTED.write_text(head + "".join(lines), encoding="utf-8")


def rows(figures: Sequence[Figure]) -> Iterator[str]:
    yield "| what | ours | held against | theirs | ratio |"
    yield "| --- | --- | --- | --- | --- |"
    for one in figures:
        yield f"| {one.what} | {one.ours} | {one.against} | {one.theirs} | {one.ratio:.3g} |"


def latency(tick_ms: float) -> list[str]:
    """Return the chain from a fault to no current."""
    converted, read = device.ticks_to_off()
    lines = [
        f"On the simulated device a couple that suddenly reads 300 K more takes the heat away once"
        f" {read} ticks have read it so: a single word is not believed. From the conversion"
        f" that first sees it that is {converted} ticks of 100 ms; from sample to pin in that last"
        f" tick {tick_ms:.2f} ms (MicroPython on this machine; a controller board is slower).",
        "",
        "| chain, most ms | converter | waits for the tick | seen again | tick | switch | all |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for words, chain in device.chains(tick_ms, read):
        cells = " | ".join(f"{one:.3g}" for one in (*chain, chain.all_ms))
        lines.append(f"| {words} | {cells} |")
    lines += [
        "",
        "Reading a converter as soon as it is done would gain up to 100 ms, so a floor of about"
        " 110 ms if one word were believed. Heat that emitters hold is worth 10 to 25 K after the"
        " switch opens, 100 ms of full power about 0.1 K: it is not worth a false trip.",
    ]
    return lines


def page(groups: dict[str, list[Figure]], costs: dict[str, float]) -> str:
    """Return docs/performance.md."""
    text = ["# Performance", "", HEAD, "", "![Ratios](pictures/performance.svg)", ""]
    for title, figures in groups.items():
        text += [f"## {title}", "", *rows(figures), ""]
    whole = next(one for one in groups["Device"] if one.name == "tick/whole")
    text += ["## From a fault to heat off", "", *latency(device.TICK_MS / whole.ratio), ""]
    text += ["## A thousand workers, on paper", "", *many.plan(costs), ""]
    text += [
        f"Four healthy days took {costs['alone']:.2g} s of wall in one process,"
        f" {costs['processes']:.2g} s in two and {costs['on cluster']:.2g} s on a cluster of two,"
        " while other work ran on the machine.",
        "",
        "How well the control follows a profile: [control.md](control.md).",
        "",
    ]
    return "\n".join(text)
