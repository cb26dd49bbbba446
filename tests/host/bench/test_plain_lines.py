"""Lines for pipes, whatever their encoding."""

import os
import subprocess
import sys
from io import StringIO

import pytest
from rich.console import Console

from emberbed.bench.plain_lines import PlainLines
from emberbed.bench.story import Story
from emberbed.profiles.compile import decode_plan
from tests.support.tapes import rehearsed

SCRIPT = """
from emberbed.cli_common import survive_any_terminal
from rich.console import Console
from emberbed.bench.plain_lines import PlainLines
from emberbed.bench.story import Story
from emberbed.profiles.plan_bytes import Plan
ROLES = {f"role{channel}": 0 for channel in range(8)}
survive_any_terminal()
with PlainLines(Console(), Story(Plan(ROLES, [], []), [], {})) as screen:
    screen.tell(None, "prompt", "Flux auftragen \\u2013 \\u4e2d\\u6587 \\u2588 87 \\u00b0C [bold]")
"""

LEFT_ALONE = """
import sys
from rich.console import Console
from emberbed.bench.plain_lines import PlainLines
from emberbed.bench.story import Story
from emberbed.profiles.plan_bytes import Plan
ROLES = {f"role{channel}": 0 for channel in range(8)}
sys.stdin.readline()
with PlainLines(Console(), Story(Plan(ROLES, [], []), [], {})) as screen:
    for _ in range(3):
        screen.tell(None, "stage", "Stage 1 of 4.")
sys.stderr.write("still here")
"""


def lines_of(*events):
    out = StringIO()
    rehearsal = rehearsed()
    story = Story(decode_plan(rehearsal.prepared.plan), rehearsal.prepared.prompts, {})
    with PlainLines(Console(file=out, width=40), story) as screen:
        story.follow(rehearsal.records[0])
        for record in rehearsal.records[:3]:
            screen.show(record)
        for event in events:
            screen.tell(*event)
    return out.getvalue()


def test_one_line_an_event_however_long():
    long = "The thermocouple of the sensor edge is open: " + "it came off its terminals. " * 5
    first = rehearsed().records[0].tick
    text = lines_of((first + 75, "trip", long), (None, "stop", "Stop asked for."))
    assert text == f"   0:08  {long}\n  --:--  Stop asked for.\n"


def test_a_record_alone_writes_nothing():
    assert lines_of() == ""


def test_markup_and_numbers_are_plain_text():
    assert lines_of((None, "x", "[red]87.3[/red] °C")) == "  --:--  [red]87.3[/red] °C\n"


def test_a_reader_who_leaves_does_not_end_the_run():
    """As in `emberbed run ... | head`: the pipe is closed, the board is still hot."""
    with subprocess.Popen(
        [sys.executable, "-c", LEFT_ALONE],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as child:
        child.stdout.close()
        _out, errors = child.communicate(b"the reader has left\n", timeout=30)
    assert child.returncode == 0
    assert errors.strip() == b"still here"


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "utf-8", "utf-16"])
def test_no_encoding_of_a_pipe_ends_the_program(encoding):
    environment = {**os.environ, "PYTHONIOENCODING": encoding}
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT], capture_output=True, env=environment, timeout=30
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == b""
    text = done.stdout.decode(encoding)
    assert "87 " in text and "[bold]" in text
    if encoding == "utf-8":
        assert "\u2588" in text
