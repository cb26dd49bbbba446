"""The tables of the comparison as Markdown, and a picture for each controller.

Figures that miss what was wanted stand there as they are.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from tests.benchmarks.control.compared import OPTIMUM, OURS, Compared
from tests.benchmarks.control.scores import Score

WANTED = (  # figure, reach
    ("tracking RMSE against the heater's own optimum, nominal", "at most 1.2 times"),
    ("the same on mismatched heaters", "median at most 1.3, 95th percentile at most 2 times"),
    ("overshoot in a hold", "at most 1.0 °C nominal, 2.0 °C at the 95th percentile"),
    ("soak inside ±2 °C from first entry on", "at least 99 % of wall ticks"),
    ("time beyond the profile's", "at most 2 % more than the optimum"),
)
COLUMNS = (  # of the mismatched heaters
    "controller", "RMSE p50 / p95", "x optimum p50 / p95 / max", "overshoot p50 / p95", "soak p5",
)  # fmt: skip


def markdown(found: Sequence[Compared], pictures: Sequence[str]) -> str:
    """Return the page's part that comes from the run."""
    lines = ["| wanted of ours | reach |", "| --- | --- |"]
    lines += [f"| {what} | {reach} |" for what, reach in WANTED]
    for one in found:
        lines += ["", f"## {one.kind.capitalize()} emitters", "", *_nominal(one), ""]
        lines += list(_mismatched(one))
    lines += [""] + [f"![{name}: readings and setpoint]({name})" for name in pictures]
    return "\n".join(lines) + "\n"


def _nominal(one: Compared) -> Iterator[str]:
    best_c = one.optimum_c[0]
    yield f"Nominal heater; its optimum has an RMSE of {best_c:.2f} °C."
    yield ""
    yield "| controller | RMSE °C | x optimum | overshoot °C | soak inside ±2 °C | time |"
    yield "| --- | --- | --- | --- | --- | --- |"
    for name, scores in one.scores.items():
        yield f"| {name} | " + _cells(scores[0], one.ratios(name)[0]) + " |"


def _cells(score: Score, ratio: float) -> str:
    return (
        f"{score.rmse_c:.2f} | {ratio:.2f} | {score.overshoot_c:.1f} | {score.soak_percent:.0f} %"
        f" | {score.longer_percent:+.1f} %"
    )


def _mismatched(one: Compared) -> Iterator[str]:
    count = len(one.heaters) - 1
    known = sum(best is not None for best in one.optimum_c) - 1
    if not count:
        return
    yield f"{count} mismatched heaters, {known} of them with their own optimum."
    yield ""
    yield f"| {' | '.join(COLUMNS)} |"
    yield f"|{' --- |' * len(COLUMNS)}"
    for name, scores in one.scores.items():
        rmse, over, soak, _longer = np.array(scores[1:]).T
        ratios = one.ratios(name)[1:]
        of_best = "-"
        if len(ratios):
            p50, p95 = np.percentile(ratios, (50, 95))
            of_best = f"{p50:.2f} / {p95:.2f} / {ratios.max():.2f}"
        yield (
            f"| {name} | {np.median(rmse):.2f} / {np.percentile(rmse, 95):.2f} | {of_best}"
            f" | {np.median(over):.1f} / {np.percentile(over, 95):.1f}"
            f" | {np.percentile(soak, 5):.0f} % |"
        )


def draw(found: Sequence[Compared], folder: Path) -> list[str]:
    """Write a picture for each baseline beside ours and the optimum; return the files' names."""
    import matplotlib

    matplotlib.use("svg")
    import matplotlib.pyplot as plt

    plt.rcParams["svg.hashsalt"] = "emberbed"  # the same picture, the same file
    names = []
    for baseline in [name for name in found[0].scores if name != OURS]:
        figure, axes = plt.subplots(len(found), 1, figsize=(9, 3.2 * len(found)), squeeze=False)
        for one, (ax,) in zip(found, axes, strict=True):
            minutes = one.line.seconds / 60
            ax.plot(minutes, one.line.setpoint_c, "k--", lw=0.8, label="asked for")
            for name, colour in ((baseline, "tab:red"), (OPTIMUM, "tab:green"), (OURS, "tab:blue")):
                read_c = one.courses[name][: len(minutes)]
                ax.plot(minutes[: len(read_c)], read_c, color=colour, lw=1, label=name)
            ax.set(title=f"{one.kind}, nominal heater", xlabel="min", ylabel="°C")
            ax.legend(fontsize="small")
        figure.tight_layout()
        slug = baseline.lower().replace(" ", "-")
        names.append(f"control-{slug}.svg")
        figure.savefig(folder / names[-1], metadata={"Date": None})
        plt.close(figure)
    return names
