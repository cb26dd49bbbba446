"""The ratios as bars, on a scale of powers of ten."""

from collections.abc import Sequence
from pathlib import Path

from matplotlib.figure import Figure as Drawing

from tests.benchmarks.speed.figures import Figure


def draw(figures: Sequence[Figure], path: Path) -> None:
    drawing = Drawing(figsize=(8, 0.32 * len(figures) + 1), layout="constrained")
    axes = drawing.subplots()
    names = [one.name for one in reversed(figures)]
    bars = axes.barh(names, [one.ratio for one in reversed(figures)], color="#3b6ea5")
    axes.bar_label(bars, [f"{one.ratio:.3g}" for one in reversed(figures)], padding=3)
    axes.set_xscale("log")
    axes.axvline(1.0, color="black", linewidth=0.8)
    axes.set_xlabel("times cheaper than what it is held against")
    axes.margins(x=0.15)
    drawing.savefig(path, metadata={"Date": None})
