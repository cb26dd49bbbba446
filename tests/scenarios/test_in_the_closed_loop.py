"""Every row in the closed loop ends as on the virtual device; no point lacks a row."""

import pytest

from emberbed.profiles.compile import decode_plan
from emberbed_fw import replay
from tests.scenarios.in_process import InProcess
from tests.scenarios.looks import calls_of, check_calls, check_records, check_told
from tests.scenarios.rows import FILE, KNOWN_KEYS, NAMES, ROWS, fitted, row_of


@pytest.mark.parametrize("name", NAMES)
def test_in_the_closed_loop(name):
    row = row_of(name)
    ran = InProcess(row)
    check_told(row, ran.sentences, by_host=False)
    check_records(row, ran.records)
    began = [octets for octets in ran.raw if replay.arms(octets, len(octets))]
    assert len(began) == row.get("runs", 1)
    plan, prompts, names = fitted(row)
    check_calls(row, calls_of(decode_plan(plan), ran.records, ran.raw, prompts, names))


def test_each_row_has_a_name_of_its_own_and_only_what_is_looked_at():
    assert len(set(NAMES)) == len(NAMES)
    for row in ROWS:
        assert set(row) <= KNOWN_KEYS, row["name"]
        assert row.get("says"), row["name"]


def test_no_point_of_the_bench_is_without_a_row():
    assert {row["shows"] for row in ROWS} == set(FILE["points"])
