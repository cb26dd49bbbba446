"""Made parts of the documents are those that the code makes now."""

import re
from itertools import product

import pytest

from emberbed_fw import messages as ms
from emberbed_fw import run_states as rs
from tests.docs import generated, generated_link
from tests.docs.generated import DOCUMENTS, PROJECT, blocks_in, renewed
from tests.support.wire import Wire

RENEW = "run: python -m tests.docs.generated"


@pytest.mark.parametrize("name", DOCUMENTS)
def test_document_holds_what_the_code_makes(name):
    text = (PROJECT / name).read_text(encoding="utf-8")
    assert blocks_in(text) == list(DOCUMENTS[name])
    assert renewed(text) == text, RENEW


def test_a_stale_block_is_seen():
    stale = "before\n<!-- made: limits -->\nold\n<!-- end -->\nafter\n"
    fresh = renewed(stale)
    assert fresh != stale and fresh.startswith("before\n") and fresh.endswith("\nafter\n")
    assert renewed(fresh) == fresh


def test_safety_is_told_in_plain_words():
    """Every translation is used, and no developer's word is left outside the column of names."""
    tables = generated.guard_limits() + generated.hazards()
    assert [said for said in generated.PLAIN.values() if said not in tables] == []
    told = (PROJECT / "host/emberbed/docs/safety.md").read_text(encoding="utf-8")
    told = re.sub(r"`[A-Z_]+`", "", told)
    words = r"\b(lease|renew\w*|latch\w*|permission|drive[ns]?|integral|winds)\b"
    assert re.findall(words, told, re.IGNORECASE) == []


def test_diagram_has_an_arrow_for_every_allowed_event_and_no_other():
    drawn = set()
    for line in generated.states().splitlines():
        arrow = re.fullmatch(r" {4}(\w+) --> (\w+): (.+)", line)
        for event in arrow[3].split(", ") if arrow else ():
            drawn.add((arrow[1], event, arrow[2]))
    allowed = set()
    for state, event in product(range(len(rs.STATE_NAMES)), range(len(rs.EVENT_NAMES))):
        following = rs.next_state(state, event)
        if following >= 0:
            names = rs.STATE_NAMES[state], rs.EVENT_NAMES[event], rs.STATE_NAMES[following]
            allowed.add(names)
    assert drawn == allowed


@pytest.mark.parametrize("kind", [kind for kind in ms.MESSAGE_NAMES if kind < ms.REPLY])
def test_table_of_messages_says_what_the_firmware_does_not_offer(kind):
    """The firmware itself is asked: an empty request of each kind."""
    wire = Wire()
    wire.tick(3)
    assert wire.hello()[0] == "DONE"
    said = generated_link.payload_of(ms.MESSAGE_NAMES[kind])
    if kind in (ms.HELLO, ms.RENEW):
        assert "NOT_OFFERED" not in said
        return
    assert (wire.ask(kind)[0] == "NOT_OFFERED") == ("NOT_OFFERED" in said)
