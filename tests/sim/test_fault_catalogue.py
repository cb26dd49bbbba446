"""The form of a fault on a command line, and what is refused."""

import pytest

from emberbed_sim.faults import CATALOGUE, FaultEvent, parse_fault


@pytest.mark.parametrize(
    ("text", "event"),
    [
        ("tc_open@120s", FaultEvent("tc_open", 120.0, None, 0)),
        ("tc_open@120s#1", FaultEvent("tc_open", 120.0, None, 1)),
        ("tc_open@0.5s:2.5s#7", FaultEvent("tc_open", 0.5, 2.5, 7)),
        ("ssr_stuck_on@2min", FaultEvent("ssr_stuck_on", 120.0)),
        (" host_silent@300s:30s ", FaultEvent("host_silent", 300.0, 30.0)),
    ],
)
def test_faults_are_read(text: str, event: FaultEvent) -> None:
    assert parse_fault(text) == event


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "cannot be read"),
        ("tc_open", "lacks the time"),
        ("tc_open:30s", "lacks the time"),
        ("tc_melted@10s", "'tc_melted' is not known"),
        ("@10s", "'' is not known"),
        ("tc_open@", "has the time ''"),
        ("tc_open@soon", "has the time 'soon'"),
        ("tc_open@120", "has the time '120'"),
        ("tc_open@-1s", "has the time '-1s'"),
        ("tc_open@nans", "has the time 'nans'"),
        ("tc_open@1e9s", "has the time '1e9s'"),
        ("tc_open@1s:", "has the time ''"),
        ("tc_open@1s@2s", "cannot be read"),
    ],
)
def test_a_bad_name_or_time_lists_the_names(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says) as refused:
        parse_fault(text)
    sentence = str(refused.value)
    assert all(kind.name in sentence for kind in CATALOGUE)
    assert sentence.endswith(".") and "\n" not in sentence


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("host_silent@1s:0s", "give more than 0 s"),
        ("tc_open@1s#8", "a whole number from 0 to 7"),
        ("tc_open@1s#x", "a whole number from 0 to 7"),
        ("tc_open@1s#", "a whole number from 0 to 7"),
        ("ssr_stuck_on@1s#1", "it takes none"),
    ],
)
def test_a_bad_length_or_amount_says_the_mend(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        parse_fault(text)


@pytest.mark.parametrize(
    "wrong",
    [
        ("tc_melted", 1.0, None, 0),
        ("tc_open", float("nan"), None, 0),
        ("tc_open", -1.0, None, 0),
        ("tc_open", 1.0, float("nan"), 0),
        ("tc_open", 1.0, None, 0.5),
        ("tc_open", 1.0, None, float("nan")),
    ],
)
def test_an_impossible_event_cannot_be_made(wrong: tuple[str, float, float | None, float]) -> None:
    with pytest.raises(ValueError, match="Fault"):
        FaultEvent(*wrong)


def test_a_fault_begins_and_ends_on_its_ticks() -> None:
    passing = FaultEvent("host_silent", 300.0, 30.0)
    assert [passing.active_at(tick / 10) for tick in (2999, 3000, 3299, 3300)] == [
        False,
        True,
        True,
        False,
    ]
    assert FaultEvent("host_silent", 300.0).active_at(1e9)
