"""Names that are only looked up become numbers, and nothing else does."""

import ast

import pytest

from emberbed.install.folding import STANDS_ALONE, fold
from emberbed.install.numbering import number_names
from emberbed_fw.plan import HEADER_FIELDS, KNOT_FIELDS, STAGE_FIELDS
from emberbed_fw.ports.wiring import ROLES

PLAN = b"""
HEADER_FIELDS = (("kind", "B"), ("cap0_q15", "H"), ("cap1_q15", "H"), ("gap2", "H"))
STAGE_FIELDS = (("kind", "B"), ("last", "H"))


class Meter:
    STATE = ("kind", "_last")

    def read(self, header, zone):
        return header["kind"], header["cap%d_q15" % zone], header["gap%d" % zone], "kinds %d" % zone
"""
SMALL = {"plan.py": PLAN, "other.py": b"def level(plan):\n    return plan.last['last']\n"}


def ran(text):
    names = {}
    exec(text, names)
    return names


def test_names_become_their_places_and_patterns_with_them():
    texts = number_names(SMALL, SMALL)
    meter = ran(texts["plan.py"])["Meter"]
    header = {0: "kind", 1: "cap0", 2: "cap1", "gap1": "gap 1"}
    assert meter().read(header, 1) == ("kind", "cap1", "gap 1", "kinds 1")
    assert meter.STATE == ("kind", "_last")
    assert b"plan.last[4]" in texts["other.py"]


def test_names_of_a_pattern_that_stand_apart_are_told():
    apart = {"plan.py": PLAN.replace(b'"gap2"', b'"gap0", "H"), ("mean", "H"), ("gap1"')}
    with pytest.raises(AssertionError, match="gap%d: its names stand apart"):
        number_names(apart, apart)


def test_sources_without_the_tables_stay_as_they_are():
    texts = {"plan.py": PLAN.replace(b"_FIELDS", b"_ROWS")}
    assert number_names(texts, texts) == texts


def test_no_name_of_a_table_is_left_in_the_firmware(sources):
    texts = number_names(fold(sources), sources)
    rows = (*HEADER_FIELDS, *STAGE_FIELDS, *KNOT_FIELDS)
    names = {name for name, _code in rows} | set(ROLES)
    left = [
        (file, node.lineno, node.value)
        for file, text in texts.items()
        if file != STANDS_ALONE
        for state in [_states(text)]
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Constant) and node.value in names and node.lineno not in state
    ]
    assert not left
    assert texts[STANDS_ALONE] == fold(sources)[STANDS_ALONE]


def _states(text):
    """Return the lines on which a STATE stands."""
    return {
        line
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "STATE"
        for line in range(node.lineno, (node.end_lineno or 0) + 1)
    }
