"""Make the pictures of README.md again, from a real run on the virtual device.

    python -m tests.docs.make_pictures        (in the checkout, with Emberbed installed)

Runs the shipped label-printer profile, then writes its chart as the run page shows it, and the
terminal panel as it stood while the flux prompt waited. Not part of the tests: a picture is looked
at.
"""

import io
import re
import sys
import tempfile
from pathlib import Path

import rich._export_format
from rich.console import Console

from emberbed.bench.panel import LivePanel
from emberbed.bench.prepare import load_profile
from emberbed.bench.session import RunRequest, run_profile
from emberbed.bench.story import Story
from emberbed.bench.virtual import VirtualBench
from emberbed.profiles.compile import decode_plan, prompts
from emberbed.report.chart import run_chart_svg
from emberbed.report.run_view import chart_of, view_of
from emberbed.store.meaning import channel_names_of
from emberbed.store.run_store import RunStore
from emberbed_fw.units import NONE, TICKS_PER_S

PICTURES = Path(__file__).resolve().parents[2] / "host/emberbed/docs/pictures"
PROFILE = "label-printer"
PROMPT_SHOWN_FOR_S = 12  # when the panel is taken
PANEL_COLUMNS = 96
# on any page behind it, light or dark
ON_PAPER = '<svg style="color: #1c1e21; background: #fdfdfb; font-family: sans-serif"'


def chart(store: RunStore, run_id: int) -> str:
    """Return the run page's chart as a picture of its own."""
    svg = re.sub(
        r' style="width: 100%; height: auto"', "", run_chart_svg(chart_of(view_of(store, run_id)))
    )
    return svg.replace("<svg", ON_PAPER, 1)


def panel(store: RunStore, run_id: int) -> str:
    """Return the terminal panel as it stood during the first prompt."""
    run = store.run(run_id)
    plan = decode_plan(run.plan)
    story = Story(plan, prompts(load_profile(PROFILE).model), channel_names_of(run))
    console = Console(file=io.StringIO(), record=True, width=PANEL_COLUMNS)
    title = f"run {run_id} · simulated · {run.profile_name}"  # as `emberbed run` heads it
    asked = 0
    with LivePanel(console, story, title, virtual=True) as screen:
        for record in store.records(run_id):
            for kind, sentence in story.follow(record):
                screen.tell(record.tick, kind, sentence)
            screen.show(record)
            asked += record.prompt != NONE
            if asked == PROMPT_SHOWN_FOR_S * TICKS_PER_S:
                break
    # no fonts from the net (whoever looks has a monospaced one) and no links
    template = re.sub(
        r"@font-face \{\{.*?\}\}\s*|<!--.*?-->\s*",
        "",
        rich._export_format.CONSOLE_SVG_FORMAT,
        flags=re.DOTALL,
    )
    return console.export_svg(title=f"emberbed run {PROFILE}", code_format=template)


def main() -> int:
    """Run, draw, write both files."""
    profile = load_profile(PROFILE)
    board = profile.model.board
    bench = VirtualBench(
        speed="max", mass_g=board.mass_g, length_mm=board.length_mm, width_mm=board.width_mm
    )
    with (
        tempfile.TemporaryDirectory() as folder,
        RunStore.open(Path(folder) / "runs.sqlite") as store,
    ):
        request = RunRequest(profile, "virtual", bench, True, Path(folder) / "run.html")
        result = run_profile(request, store, Console(file=io.StringIO()))
        drawn = {
            "run-chart.svg": chart(store, result.run_id),
            "run-panel.svg": panel(store, result.run_id),
        }
    PICTURES.mkdir(parents=True, exist_ok=True)
    for name, svg in drawn.items():
        (PICTURES / name).write_text(svg, encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
