"""`rehearse --limit`: the best that any controller could do on the rehearsed heater."""

import pytest

from emberbed import rehearse_asked
from emberbed.bench.prepare import NotReady
from emberbed.rehearse_asked import Asked

PROFILE = """\
name = "Short"
alloy = "SAC305"
laminate = "FR-4 Tg 150"
board = { mass_g = 240, length_mm = 180, width_mm = 120 }

[sensors]
top_near_chip = "control"
edge = "edge"

[[stages]]
kind = "ramp"
to_c = 80
rate_c_per_s = 0.4

[[stages]]
kind = "hold"
for_s = 60

[[stages]]
kind = "cool"
below_c = 50
fastest_c_per_s = 2.0
"""


@pytest.fixture(scope="module")
def given(tmp_path_factory):
    path = tmp_path_factory.mktemp("limit") / "short.toml"
    path.write_text(PROFILE)
    return rehearse_asked.answer(Asked(str(path), wants_limit=True))


def test_no_run_is_better_than_the_limit(given):
    assert 0 < given.limit.best.rmse_c < given.limit.run_rmse_c


def test_best_course_asks_for_no_more_power_than_the_device_may(given):
    assert given.limit.best.power.max() <= given.limit.most_power + 1e-9


def test_person_reads_it_and_a_script_gets_the_course(given):
    lines = rehearse_asked.as_lines(given)
    assert sum(line.startswith("the best that this heater can do: ") for line in lines) == 1
    limit = rehearse_asked.as_json(given)["limit"]
    assert len(limit["reading_c"]) == len(limit["seconds"]) == len(limit["power_percent"])


def test_picture_shades_what_lies_between(given):
    assert "and the best course that" in rehearse_asked.picture_of(given)  # of the shade's words


def test_board_in_two_dimensions_is_refused_in_one_sentence():
    with pytest.raises(NotReady) as refused:
        rehearse_asked.answer(Asked("label-printer", plant="grid", wants_limit=True))
    (sentence,) = refused.value.sentences
    assert sentence.startswith("--limit ")
