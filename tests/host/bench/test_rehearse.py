"""The rehearsal: its JSON, its picture, its lines.

That it predicts what the virtual device then does is in tests/end_to_end/test_whole_runs.py.
"""

import xml.etree.ElementTree as ElementTree
from itertools import pairwise

import pytest

from emberbed import rehearse as rehearsing
from emberbed.bench.prepare import NotReady
from emberbed_fw import run_states as rs
from emberbed_fw.units import TICKS_PER_S
from tests.support.tapes import rehearsed

SVG = "{http://www.w3.org/2000/svg}"


def peak_from_below(records):
    """Return the highest reading before hot air came, in degrees C."""
    air = next(n for n, one in enumerate(records) if one.waits_for == rs.WAITS_AIR_AWAY)
    return max(one.channel_cdeg(0) for one in records[:air]) / 100


@pytest.fixture(scope="module")
def answer():
    return rehearsing.as_json(rehearsed())


def test_json_has_the_whole_prediction(answer):
    assert answer["profile"] == "Label printer main board, 27 mm BGA"
    assert answer["state"] == "finished"
    assert answer["limits_exceeded"] == []
    assert answer["seconds"] == pytest.approx(len(rehearsed().records) / TICKS_PER_S, abs=0.2)
    assert set(answer["peaks_c"]) == {"top_near_chip", "edge"}
    # the profile's highest stage is 135 °C; FR-4 Tg 150 less 10 °C is the limit from below
    assert 134 < peak_from_below(rehearsed().records) < 140
    # hot air warms the board beside the chip too, where nothing may melt: SAC305 from 217 °C
    assert 140 < answer["peaks_c"]["top_near_chip"] < 217
    assert 0 < answer["largest_ramp_c_per_s"] < 3  # J-STD-020 table 5-2
    assert answer["energy_j"] > 0


def test_its_events_are_in_order(answer):
    ticks = [event["tick"] for event in answer["events"]]
    assert ticks == sorted(ticks)
    stages = [event["sentence"] for event in answer["events"] if event["kind"] == "stage"]
    assert [one.split(":")[0] for one in stages] == [f"Stage {n} of 9" for n in range(1, 10)]


def test_its_curve_has_one_row_a_second(answer):
    curve = answer["curve"]
    assert {round(b["seconds"] - a["seconds"], 6) for a, b in pairwise(curve)} == {1.0}
    assert curve[0]["setpoint_c"] is None
    assert curve[0]["top_near_chip_c"] == pytest.approx(23, abs=1)
    assert max(row["power_percent"] for row in curve) <= 60  # not identified: power cap 60 %
    assert all(row["power_percent"] >= 0 for row in curve)
    columns = {"seconds", "setpoint_c", "top_near_chip_c", "edge_c", "power_percent"}
    assert all(set(row) == columns for row in curve)


def test_a_missing_reading_is_none_in_the_curve():
    curve = rehearsing.predicted_curve(rehearsed("label-printer", "tc_open@100s"))
    assert curve[-1]["top_near_chip_c"] is None
    assert curve[-1]["edge_c"] is not None


def test_its_picture_is_an_svg_of_the_run():
    picture = ElementTree.fromstring(rehearsing.picture_of(rehearsed()))
    assert picture.tag == f"{SVG}svg"
    left, top, width, height = map(float, picture.get("viewBox", "").split())
    assert (left, top) == (0, 0) and width > 100 and height > 100
    assert picture.findall(f".//{SVG}path")


def test_its_lines_end_with_the_verdict_and_what_it_is_worth():
    lines = rehearsing.as_lines(rehearsed())
    assert "Finished: every stage ran to its end. No limits exceeded." in lines
    assert lines[-1] == "Rehearsed on the simulated heater: yours may be slower or faster."


def test_a_fault_can_be_rehearsed():
    broken = rehearsed("label-printer", "tc_open@100s")
    assert broken.state == "tripped"
    assert any(kind == "trip" for _tick, kind, _sentence in broken.events)


def test_what_cannot_be_rehearsed_is_refused():
    with pytest.raises(NotReady):
        rehearsing.rehearse_by_name("no-such-profile", 1, [])
    with pytest.raises(ValueError, match="not known"):
        rehearsing.rehearse_by_name("label-printer", 1, ["boom@1s"])
    with pytest.raises(ValueError, match="last sensor"):
        rehearsing.rehearse_by_name("label-printer", 1, ["tc_open@1s#7"])
