"""`emberbed sensor` on the virtual device, and everything that it refuses in one sentence."""

import json

import pytest

from emberbed.calibration import history

FAST = ("--press", "--speed", "max", "--engine", "cpython")
HAND = "point,read_c\nice,1.2\nboiling,99.3\nSn63Pb37,182\n"


@pytest.fixture(autouse=True)
def place(tmp_path, monkeypatch):
    path = tmp_path / "calibrations.jsonl"
    monkeypatch.setenv(history.VARIABLE, str(path))
    return path


@pytest.fixture
def points(tmp_path):
    """Return a function that writes a file of points."""

    def write(text):
        (tmp_path / "points.csv").write_text(text, encoding="utf-8")
        return tmp_path / "points.csv"

    return write


def test_guided_with_a_solder_as_third_point(emberbed, place):
    said = emberbed(
        "sensor", "calibrate", "edge", "--pressure", 990, "--wrong", "2,1.01", "--melt", "Sn63Pb37",
        "--json", *FAST,
    )  # fmt: skip
    assert said.exit_code == 0, said.err
    told = json.loads(said.out)
    read = {one["point"]: one["read_c"] for one in told["points"]}
    # the couple shows 1.01 times what is there, and 2 K more
    assert read == pytest.approx({"ice": 2.0, "boiling": 102.32, "Sn63Pb37": 186.83}, abs=0.15)
    assert told["gain"] == pytest.approx(1 / 1.01, abs=0.0015)
    assert told["offset_c"] == pytest.approx(-2 / 1.01, abs=0.15)
    assert told["written"] and told["residual_c"] < 0.3 and told["check_c"] is None
    for caution in ("steam burn", "Keep water and mains apart", "insulated leads", "Molten solder"):
        assert caution in said.err
    assert not place.exists(), "a device that is gone has no history"


def test_only_show_writes_nothing(emberbed):
    said = emberbed("sensor", "calibrate", 0, "--pressure", 1013.25, "--only-show", *FAST)
    assert said.exit_code == 0, said.err
    assert "water boiling at 1013.25 hPa: 99.97 °C" in said.out
    assert said.out.rstrip().endswith("Nothing was written.")


def test_points_by_hand(emberbed, points):
    file = points(HAND)
    said = emberbed("sensor", "calibrate", "edge", "--pressure", 990, "--from", file, "--json")
    told = json.loads(said.out)
    # numpy.polyfit over the three, weighted: 1.01244, -1.2121
    assert told["gain"] == pytest.approx(1.01244, abs=0.0002)
    assert told["offset_c"] == pytest.approx(-1.21, abs=0.01)
    assert told["written"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "the file is empty"),
        ("point\nice\n", "there must be one column read_c"),
        ("point,read_c\nice,warm\n", 'points.csv:2: "warm" is no number under read_c'),
        ("point,read_c\nboiling,99\n", "points.csv:2: where water boils depends on the air"),
        ("point,read_c\nSAC305,217\n", "points.csv:2: SAC305 melts over a range"),
        ("point,read_c\nsteam,99\n", 'points.csv:2: alloy "steam" is not in the materials book'),
        ("point,read_c\n900,900\n", "points.csv:2: 900 °C is no point of a bench"),
        ("point,read_c\nnan,900\n", "points.csv:2: nan °C is no point of a bench"),
        ("point,read_c\nice,99\n100,1\n", "ice reads 99.0 °C and 100 °C 1.0 °C"),
        ("point,read_c\nice,0\n", "needs two points"),
        ("point,read_c\n" + "ice,0\n" * 21, "there are 21 points; give 2 to 20"),
    ],
)
def test_bad_points_by_hand(emberbed, points, text, words):
    said = emberbed("sensor", "calibrate", "edge", "--from", points(text), "--engine", "cpython")
    assert said.exit_code == 2
    assert words in said.err
    assert len([line for line in said.lines if "note:" not in line]) == 1


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (("edge",), "add --pressure in hPa as it is here, or --altitude"),
        (("edge", "--altitude", 500), "Nobody can say here that the bead is in its bath"),
        (("edg", "--altitude", 500, "--press"), 'did you mean "edge"?'),
        (("7", "--altitude", 500, "--press"), '"7" is no thermocouple of this device'),
        (("edge", "--altitude", 500, "--melt", "SAC305"), "SAC305 melts over a range"),
        (("edge", "--from", "none.csv"), "none.csv cannot be read"),
        (("edge", "--from", "a.csv", "--melt", "Sn63Pb37"), "write the solder into the file"),
        (("edge", "--altitude", 500, "--press", "--wrong", "2"), "--wrong 2 cannot be read"),
        (("edge", "--altitude", 500, "--press", "--speed", "x"), "--speed x is not a number"),
        (("edge", "--altitude", 500, "--press", "--device", "socket://127.0.0.1:9"), "--press"),
    ],
)
def test_what_cannot_be_asked_for(emberbed, given, words):
    said = emberbed("sensor", "calibrate", *given)
    assert said.exit_code == 2
    assert words in said.err and "Traceback" not in said.err


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (("--fault", "channels_swapped@0s"), "the two beads or their plugs are swapped"),
        (("--fault", "tc_drifts@0s#-20,1"), "edge is not steady after 300 s: it moves by"),
        (
            ("--fault", "tc_open@0s#1"),
            "edge is not steady after 300 s: it gave no whole window of readings",
        ),
        (("--wrong", "30,1"), "too far from 0.0 °C for any sound couple"),
        (("--wrong", "0,1.1"), "The gain would be 0.909, outside 0.95 to 1.05"),
    ],
)
def test_a_couple_that_is_not_sound_is_refused(emberbed, given, words):
    said = emberbed("sensor", "calibrate", "edge", "--pressure", 990, *given, *FAST)
    assert said.exit_code == 2
    assert words in said.lines[-1]


def test_the_list_and_the_budget_of_what_was_never_calibrated(emberbed):
    assert "edge was not calibrated" in emberbed("sensor", "list").out
    rows = json.loads(emberbed("sensor", "list", "--json").out)
    assert [row["calibration"] for row in rows] == ["none", "none"]
    said = emberbed("sensor", "budget", "edge", "--at", 250)
    assert "edge at 250 °C: ± 5.9 °C (expanded uncertainty, k = 2" in said.out  # test_budget
    told = json.loads(
        emberbed("sensor", "budget", "edge", "--at", 250, "--contact", 0, "--json").out
    )
    assert told["expanded_k"] == pytest.approx(4.36, abs=0.01)
    assert set(told["standard_k"]) >= {"thermocouple wire", "converter", "cold end"}


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (("--at", 5000), "--at 5000 is no reading"),
        (("--at", "nan"), "--at nan is no reading"),
        (("--at", 200, "--class", 3), "--class 3 is not known"),
        (("--at", 200, "--contact", -1), "--contact -1 is no share"),
    ],
)
def test_budgets_that_cannot_be(emberbed, given, words):
    said = emberbed("sensor", "budget", "edge", *given)
    assert said.exit_code == 2 and words in said.err
