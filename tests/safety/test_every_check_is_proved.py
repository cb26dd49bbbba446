"""The hazard table holds; and every way in which it could fail to hold is found."""

import copy

import pytest

from emberbed_fw import safety_limits, trip_codes
from tests.safety import hazard_table

LIMITS = safety_limits.LIMITS
TRIPS = [name for _code, name, _reaction in trip_codes.TRIPS]
TABLE = hazard_table.load()
PROOFS = hazard_table.collect_proofs()


def faults(table=TABLE, limits=LIMITS, trips=TRIPS, proofs=PROOFS):
    return hazard_table.find_faults(table, limits, trips, proofs)


def test_every_hazard_has_its_checks_and_every_check_its_four_proofs():
    assert faults() == []


def test_table_is_not_empty():
    assert len(TABLE["hazard"]) >= 10 and len(TABLE["check"]) >= 24
    assert len(PROOFS) >= 4 * len(TABLE["check"])


def test_limits_of_the_table_are_the_constants_the_firmware_uses():
    for name, value, _unit, why, _hazard in LIMITS:
        assert getattr(safety_limits, name) == value
        assert why
    constants = {name for name in vars(safety_limits) if name.isupper()} - {"LIMITS"}
    assert constants == {row[0] for row in LIMITS}


def hazard(table, number):
    return next(row for row in table["hazard"] if row["id"] == number)


def check(table, number):
    return next(row for row in table["check"] if row["id"] == number)


# One change each to the table, and the words that must come of it.
SPOILT = {
    "hazard without a check": (
        lambda t: hazard(t, "H03").update(checks=[]), ["H03 has no check", "C06 stands against no"],
    ),
    "hazard with an unknown check": (
        lambda t: hazard(t, "H01")["checks"].append("C99"), ["C99 is cited by a hazard"],
    ),
    "check that is gone": (
        lambda t: t["check"].remove(check(t, "C05")),
        ["C05 is cited by a hazard", "C05 is cited by test_"],
    ),
    "check against nothing": (
        lambda t: t["check"].append({**check(t, "C05"), "id": "C50"}), ["C50 stands against no"],
    ),
    "hazard that is gone": (
        lambda t: t["hazard"].remove(hazard(t, "H07")), ["H07 is the hazard of PRESS_HELD_TICKS"],
    ),
    "symbol that does not exist": (
        lambda t: check(t, "C09").update(symbol="Guard.watch_nothing"),
        ["C09 names emberbed_fw.guard.Guard.watch_nothing, which does not exist"],
    ),
    "module that does not exist": (
        lambda t: check(t, "C09").update(module="emberbed_fw.judge"),
        ["C09 names emberbed_fw.judge"],
    ),
    "limit of another value": (
        lambda t: check(t, "C06").update(limits=[["LEASE_TICKS", 21, "ticks"]]),
        ["C06 says LEASE_TICKS = 21 ticks; it is 20 ticks", "ACK_AGE_TICKS is a limit that no"],
    ),
    "limit of another unit": (
        lambda t: check(t, "C05").update(limits=[["HARD_CEILING_CDEG", 26000, "degC"]]),
        ["C05 says HARD_CEILING_CDEG = 26000 degC"],
    ),
    "limit that does not exist": (
        lambda t: check(t, "C05")["limits"].append(["SOFT_CEILING_CDEG", 1, "cdeg"]),
        ["C05 has the limit SOFT_CEILING_CDEG"],
    ),
    "limit of another hazard": (
        lambda t: (check(t, "C05")["limits"].append(check(t, "C14")["limits"].pop())),
        ["C05 has ANSWER_TICKS, a limit of H09"],
    ),
    "trip that does not exist": (
        lambda t: check(t, "C05")["trips"].append("TOO_HOT"), ["TOO_HOT is no trip"],
    ),
    "trip that nobody names": (
        lambda t: check(t, "C07").update(trips=[]), ["TICK_OVERRUN is a trip that no check names"],
    ),
    "key left out": (
        lambda t: hazard(t, "H02").pop("hardware_backup"), ["H02 has other keys"],
    ),
    "nothing said": (
        lambda t: hazard(t, "H02").update(hardware_backup=""), ["H02 says nothing under hardware"],
    ),
    "id twice": (
        lambda t: check(t, "C02").update(id="C01"), ["C01 is no id of its own"],
    ),
    "unknown kind": (lambda t: check(t, "C02").update(kind="hope"), ["C02 is of no known kind"]),
    "unknown severity": (
        lambda t: hazard(t, "H02").update(severity="mild"), ["H02 is of no known severity"],
    ),
    "no time": (
        lambda t: check(t, "C02").update(must_act_within_ms=0), ["C02 has no time to act"],
    ),
}  # fmt: skip


@pytest.mark.parametrize(("spoil", "words"), SPOILT.values(), ids=SPOILT)
def test_spoilt_table_is_found(spoil, words):
    table = copy.deepcopy(TABLE)
    spoil(table)
    found = faults(table)
    for word in words:
        assert any(sentence.startswith(word) for sentence in found), found


@pytest.mark.parametrize("proves", hazard_table.PROOFS)
@pytest.mark.parametrize("number", [row["id"] for row in TABLE["check"]])
def test_missing_proof_is_found(number, proves):
    left = [proof for proof in PROOFS if proof[:2] != (number, proves)]
    assert len(left) < len(PROOFS)
    assert faults(proofs=left) == [f"{number} has no proof that it {proves}"]


def test_proof_of_an_unknown_check_is_found():
    found = faults(proofs=[*PROOFS, ("C77", "acts", "somewhere")])
    assert found == ["C77 is cited by somewhere and does not exist"]


def test_proof_of_nothing_we_know_is_found():
    found = faults(proofs=[*PROOFS, ("C01", "is_nice", "somewhere")])
    assert found == ["C01 is proved to be 'is_nice' by somewhere, which means nothing"]


def test_changed_limit_in_the_firmware_is_found():
    limits = [
        (*row[:1], row[1] + 1, *row[2:]) if row[0] == "MISSING_TICKS" else row for row in LIMITS
    ]
    assert faults(limits=limits) == ["C09 says MISSING_TICKS = 10 ticks; it is 11 ticks"]


def test_new_limit_and_new_trip_need_a_check():
    limits = [*LIMITS, ("NEW_TICKS", 3, "ticks", "why", "H02")]
    assert faults(limits=limits) == ["NEW_TICKS is a limit that no check names"]
    assert faults(trips=[*TRIPS, "NEW_TRIP"]) == ["NEW_TRIP is a trip that no check names"]


def test_only_tests_that_run_are_proofs(tmp_path):
    (tmp_path / "test_some.py").write_text(
        "import pytest\n"
        '@pytest.mark.check("C01", proves="acts")\n'
        "def test_counts(): pass\n"
        '@pytest.mark.check("C01", "quiet")\n'
        '@pytest.mark.parametrize("a", [1])\n'
        "def test_counts_too(a): pass\n"
        "@pytest.mark.skip\n"
        '@pytest.mark.check("C01", proves="in_time")\n'
        "def test_is_skipped(): pass\n"
        '@pytest.mark.xfail(reason="later")\n'
        '@pytest.mark.check("C01", proves="stays")\n'
        "def test_may_fail(): pass\n"
        '@pytest.mark.check("C02", proves="acts")\n'
        "def helper(): pass\n"
    )
    (tmp_path / "no_test.py").write_text(
        'import pytest\n@pytest.mark.check("C03", proves="acts")\ndef test_elsewhere(): pass\n'
    )
    assert hazard_table.collect_proofs(tmp_path) == [
        ("C01", "acts", "test_some.py::test_counts"),
        ("C01", "quiet", "test_some.py::test_counts_too"),
    ]
