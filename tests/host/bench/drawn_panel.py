"""The live panel of a rehearsed run, drawn as text."""

from io import StringIO

from rich.console import Console

from emberbed.bench.panel import LivePanel
from emberbed.bench.story import Story
from emberbed.profiles.compile import decode_plan
from emberbed_fw import run_states as rs
from emberbed_fw.units import NONE

WIDTHS = (80, 120)


def story_of(rehearsal):
    plan = decode_plan(rehearsal.prepared.plan)
    return Story(plan, rehearsal.prepared.prompts, rehearsal.names())


def console_of(width, height=40):
    return Console(
        file=StringIO(),
        width=width,
        height=height,
        record=True,
        force_terminal=True,
        legacy_windows=False,
    )


TITLE = "Label printer main board, 27 mm BGA · run 7"


def shown(rehearsal, width, until, title=TITLE, height=40):
    """Play a tape up to the first record for which `until` is true; return (lines, record)."""
    console, story = console_of(width, height), story_of(rehearsal)
    screen = LivePanel(console, story, title, virtual=True)
    for record in rehearsal.records:
        for kind, sentence in story.follow(record):
            screen.tell(record.tick, kind, sentence)
        screen.show(record)
        if until(record):
            break
    console.print(screen.panel(record))
    return console.export_text().rstrip("\n").split("\n"), record


MOMENTS = {
    "press": lambda one: one.waits_for == rs.WAITS_PRESS,
    "ramp": lambda one: one.stage == 0 and one.stage_elapsed == 900,
    "prompt": lambda one: one.prompt != NONE,
    "long prompt": lambda one: one.stage == 7 and one.prompt != NONE,
    "cooling": lambda one: one.state == rs.COOL and one.stage_elapsed == 600,
    "end": lambda one: one.state == rs.FINISHED,
}
