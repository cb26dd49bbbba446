"""The form of a fault on a command line, and what is refused."""

import pytest

from emberbed_sim.faults import CATALOGUE, FaultEvent, parse_fault, refuse_others


@pytest.mark.parametrize(
    ("text", "event"),
    [
        ("tc_open@120s", FaultEvent("tc_open", 120.0, None, 0)),
        ("tc_open@120s#1", FaultEvent("tc_open", 120.0, None, 1)),
        ("tc_open@0.5s:2.5s#7", FaultEvent("tc_open", 0.5, 2.5, 7)),
        ("ssr_stuck_on@2min", FaultEvent("ssr_stuck_on", 120.0)),
        (" host_silent@300s:30s ", FaultEvent("host_silent", 300.0, 30.0)),
        ("hot_air@9min:90s#350", FaultEvent("hot_air", 540.0, 90.0, 350)),
        ("hot_air@9min", FaultEvent("hot_air", 540.0, None, 380)),
        ("draught@1s", FaultEvent("draught", 1.0, None, 10)),
        ("hot_bench@0s", FaultEvent("hot_bench", 0.0, None, 250)),
        ("bead_touched@5s#1", FaultEvent("bead_touched", 5.0, 3.0, 1)),
        ("finger@5s:1s", FaultEvent("finger", 5.0, 1.0, 0)),
        ("cold_chip@5s", FaultEvent("cold_chip", 5.0)),
        ("bead_half_off@0s#40,1", FaultEvent("bead_half_off", 0.0, None, 40, 1)),
        ("bead_half_off@0s", FaultEvent("bead_half_off", 0.0, None, 30, 0)),
        ("tc_drifts@1min:2min#-100,7", FaultEvent("tc_drifts", 60.0, 120.0, -100, 7)),
        ("emitter_open@1s#50,2", FaultEvent("emitter_open", 1.0, None, 50, 2)),
        ("ssr_stuck_off@1s#2", FaultEvent("ssr_stuck_off", 1.0, None, 2)),
        ("device_hangs@1s", FaultEvent("device_hangs", 1.0, None, 1000)),
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
def test_a_bad_name_or_time_says_where_the_names_are(text: str, says: str) -> None:
    with pytest.raises(ValueError, match=says) as refused:
        parse_fault(text)
    sentence = str(refused.value)
    assert "--fault list" in sentence
    assert sentence.endswith(".") and "\n" not in sentence


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("host_silent@1s:0s", "give more than 0 s"),
        ("tc_open@1s#8", "a whole number from 0 to 7"),
        ("tc_open@1s#x", "a whole number from 0 to 7"),
        ("tc_open@1s#", "a whole number from 0 to 7"),
        ("mains_lost@1s#1", "it takes none"),
        ("ssr_stuck_on@1s#4", "a whole number from 0 to 3"),
        ("ssr_leaks@1s#3,4", "give the zone, 0 to 3, after the ','"),
        ("bead_half_off@1s#30,8", "give the channel, 0 to 7, after the ','"),
        ("bead_half_off@1s#30,", "give the channel, 0 to 7, after the ','"),
        ("bead_half_off@1s#30,x", "give the channel, 0 to 7, after the ','"),
        ("tc_open@1s#1,1", "it takes nothing beside its amount"),
        ("draught@1s#10,1", "it takes nothing beside its amount"),
        ("tc_drifts@1s#-2001", "a whole number from -2000 to 2000"),
        ("late_ticks@1s#0", "a whole number from 1 to 5000"),
        ("device_resets@1s:5s", "happens at once"),
        ("hot_air@1s#99", "a whole number from 100 to 500"),
        ("hot_air@1s#501", "a whole number from 100 to 500"),
        ("draught@1s#0", "a whole number from 1 to 100"),
        ("hot_bench@0s#1000", "a whole number from 30 to 600"),
        ("cold_chip@1s:5s", "happens at once; leave its length away"),
        ("cold_chip@1s#1", "it takes none"),
        ("bead_grounded@1s#8", "a whole number from 0 to 7"),
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


@pytest.mark.parametrize("kind", CATALOGUE, ids=lambda kind: kind.name)
def test_every_row_can_be_written_without_an_amount(kind) -> None:
    event = parse_fault(f"{kind.name}@1s")
    assert event.amount == kind.usual in kind.amounts
    assert event.length_s == kind.lasts_s
    assert event.part == 0
    assert kind.acts_on in ("heater", "device", "link")
    assert kind.only in ("", "closed loop", "virtual device")
    assert bool(kind.amount_is) == (len(kind.amounts) > 1)
    assert kind.does and not kind.does.endswith(".")


def test_names_are_given_once() -> None:
    assert len({kind.name for kind in CATALOGUE}) == len(CATALOGUE)


def test_a_channel_that_is_the_amount_is_its_part() -> None:
    assert parse_fault("tc_open@1s#3").part == 3
    assert parse_fault("tc_open@1s").part == 0


@pytest.mark.parametrize("kind", CATALOGUE, ids=lambda kind: kind.name)
def test_what_another_place_is_needed_for_is_refused_in_one_sentence(kind) -> None:
    for place in ("closed loop", "virtual device"):
        event = parse_fault(f"{kind.name}@1s")
        if kind.only in ("", place):
            refuse_others([event], place)
        else:
            with pytest.raises(ValueError, match=f"only in the {kind.only}: leave it out here"):
                refuse_others([event], place)


def test_a_fault_begins_and_ends_on_its_ticks() -> None:
    passing = FaultEvent("host_silent", 300.0, 30.0)
    assert [passing.active_at(tick / 10) for tick in (2999, 3000, 3299, 3300)] == [
        False,
        True,
        True,
        False,
    ]
    assert FaultEvent("host_silent", 300.0).active_at(1e9)
