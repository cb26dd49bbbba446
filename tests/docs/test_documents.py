"""What the documents show is really there: commands, options, links, files, numbers."""

import io
import re
import shlex

import pytest
import typer.main

from emberbed.bench.acts import DEEDS, parse_act
from emberbed.cli import app
from emberbed.profiles.check import check_profile
from emberbed.profiles.limits import DRY_OUT_LEAST, HANDLING, LIMIT_ABOVE_PEAK_C, SOLIDUS_MARGIN
from emberbed.profiles.reader import MOST_BYTES, parse_profile
from emberbed.store.export import write_csv
from emberbed.store.run_store import RunStore
from emberbed_fw import messages, recorder, safety_limits
from emberbed_fw.plan import MAX_STAGES
from emberbed_fw.units import TICK_MS, TICKS_PER_S
from emberbed_sim.faults import KINDS, parse_fault
from tests.docs.generated import DOCUMENTS, PROJECT
from tests.host.store.synthetic_run import drawn_run, store_run

START = "python3 host/start.py"
FENCED = re.compile(r"```(\w+)\n(.*?)```", re.DOTALL)
README = "README.md"
DOCS = "host/emberbed/docs"


def text_of(name):
    return (PROJECT / name).read_text(encoding="utf-8")


def blocks(name, language):
    return [body for found, body in FENCED.findall(text_of(name)) if found == language]


def shown_commands():
    """Yield (document, words after `emberbed`) for every command a reader could type."""
    for name in DOCUMENTS:
        lines = [line for block in blocks(name, "sh") for line in block.splitlines()]
        lines += re.findall(r"`(emberbed [^`]+)`", text_of(name))
        for line in lines:
            for before in ("emberbed ", f"{START} "):
                if line.startswith(before):
                    yield name, shlex.split(line.removeprefix(before), comments=True)


@pytest.mark.parametrize(("document", "words"), list(shown_commands()))
def test_shown_command_exists_with_its_options(document, words):
    if words[:1] in (["test"], ["..."], ["COMMAND"]):
        return  # pytest's own, or any command
    command = typer.main.get_command(app)
    words = list(words)
    while words and words[0] != "--help" and getattr(command, "commands", None):
        command = command.commands[words.pop(0)]
    options = {option for parameter in command.params for option in parameter.opts} | {"--help"}
    assert {word for word in words if word.startswith("--")} <= options


def test_happenings_and_acts_of_the_readme_can_be_written():
    shown = re.findall(r"\b([a-z_]+@\d[\w.:#]*)", text_of(README))
    faults = [parse_fault(text).name for text in shown if text.split("@")[0] in KINDS]
    acts = [parse_act(text).name for text in shown if text.split("@")[0] not in KINDS]
    assert set(faults) == {
        "tc_open",
        "host_silent",
        "hot_air",
        "hot_bench",
        "bead_lifted",
        "cable_out",
    }
    assert set(acts) == {"lift", "press_down", "offset"}


def test_readme_names_everything_that_a_script_can_do():
    (told,) = re.findall(r"`--act NAME@TIME` does (.*?)\n\n", text_of(README), re.DOTALL)
    assert [name for name in re.findall(r"`(\w+)`", told)] == list(DEEDS)


def test_readme_begins_with_its_two_commands():
    assert blocks(README, "sh")[0].splitlines() == [
        f"{START} run label-printer --speed max --press",
        f"{START} test",
    ]


def test_profile_of_the_readme_passes_the_check_on_the_virtual_bench():
    (toml,) = blocks(README, "toml")
    names = ["top_near_chip", "edge"]
    found = check_profile(parse_profile(toml.encode(), "README.md"), names, [26000] * 2, 1000)
    assert [one.sentence for one in found if one.severity != "note"] == []


@pytest.fixture
def csv_columns(tmp_path):
    """The columns that an export really has."""
    stream = io.StringIO(newline="")
    with RunStore.open(tmp_path / "runs.sqlite") as store:
        write_csv(store, store_run(store, drawn_run()[:20]), stream)
    return stream.getvalue().splitlines()[0].split(",")


def test_columns_of_the_readme_are_in_the_csv(csv_columns):
    (script,) = blocks(README, "python")
    named = set(re.findall(r'"(\w+_[cs])"', script))
    assert named and named <= set(csv_columns)


def test_every_column_of_the_csv_is_explained_in_its_order(csv_columns):
    columns = text_of(f"{DOCS}/data.md").split("\n## Columns\n")[1].split("\n## ")[0]
    listed = re.findall(r"^\| `(\w+)` \|.*\|.*\|$", columns, re.M)
    sensors = ["top_near_chip_c", "edge_c"]
    at = listed.index("SENSOR_c")
    assert listed[:at] + sensors + listed[at + 1 :] == csv_columns


@pytest.mark.parametrize("name", DOCUMENTS)
def test_links_and_named_files_are_there(name):
    text = text_of(name)
    folder = (PROJECT / name).parent
    links = [link for link in re.findall(r"\]\(([^)]+)\)", text) if not link.startswith("#")]
    assert [link for link in links if not (folder / link.split("#")[0]).exists()] == []
    paths = re.findall(r"`((?:firmware_py|host|sim|tests|hil)/[\w./-]*\w)`", text)
    assert [path for path in paths if not (PROJECT / path).exists()] == []


def test_headings_that_are_linked_are_there():
    text = text_of("DEVELOPERS.md")
    headings = {
        heading.lower().replace(" ", "-") for heading in re.findall(r"^## (.+)$", text, re.M)
    }
    assert set(re.findall(r"\]\(#([^)]+)\)", text)) == headings


# What the prose says in numbers, made here from the tables.
SAID = [
    (f"{DOCS}/link.md", f"the newest {recorder.RING_SLOTS} records whole"),
    (f"{DOCS}/link.md", f"More than {messages.MAX_DAMAGED_PER_MIN} damaged frames in a minute"),
    (f"{DOCS}/link.md", f"in pieces of at most {messages.BLOCK_CHUNK} bytes"),
    (f"{DOCS}/link.md", f"of the last {messages.MAX_FRAME_AGE_TICKS // TICKS_PER_S} s is refused"),
    (f"{DOCS}/link.md", f"at most {safety_limits.ACK_AGE_TICKS // TICKS_PER_S} s old"),
    (f"{DOCS}/link.md", f"Without one for {safety_limits.LEASE_TICKS // TICKS_PER_S} s"),
    (README, f"answering for {safety_limits.LEASE_TICKS // TICKS_PER_S} s"),
    (f"{DOCS}/profiles.md", f"at most {MOST_BYTES // 1024} KiB"),
    (f"{DOCS}/profiles.md", f"At most {MAX_STAGES}, in their order"),
    (f"{DOCS}/profiles.md", f"peak plus {LIMIT_ABOVE_PEAK_C:g} °C"),
    (f"{DOCS}/profiles.md", f"{SOLIDUS_MARGIN.value:g} °C below the alloy's solidus"),
    (f"{DOCS}/profiles.md", f"or below {HANDLING.value:g} °C where `below_c` is higher"),
    (f"{DOCS}/profiles.md", f"at least {DRY_OUT_LEAST.value:g} s before"),
    (f"{DOCS}/data.md", f"each tick of {TICK_MS} ms"),
    (f"{DOCS}/safety.md", f"peak plus {LIMIT_ABOVE_PEAK_C:g} °C"),
    (f"{DOCS}/hardware.md", f"{safety_limits.MOST_COLD_CDEG // 100} °C is a trip"),
    (f"{DOCS}/safety.md", f"Tools below {HANDLING.value:g} °C"),
]


@pytest.mark.parametrize(("name", "said"), SAID)
def test_number_in_the_prose_is_the_one_in_the_tables(name, said):
    assert said in " ".join(text_of(name).split())
