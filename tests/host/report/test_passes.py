"""How often the solder became liquid: by sensors, by marks, over runs that belong together."""

import pytest

from emberbed.report.passes import Passes, linked_runs, passes_of, passes_words
from emberbed.report.run_view import view_of
from emberbed.store.run_store import RunStore
from emberbed_fw import messages as ms
from tests.host.report.hand_run import PROFILE, HandRun, store_hand_run
from tests.host.store.synthetic_run import PROFILE as DRAWN_PROFILE
from tests.host.store.synthetic_run import drawn_record, store_run

# without a sensor on the chip: hot air melts the solder and nothing measures it
BLIND = PROFILE.replace('chip_top = { role = "chip_top", in_jet = true, limit_c = 245 }\n', "")
LIQUIDUS_C = 183  # of Sn63Pb37, the eutectic's handbook value


def worked(profile, marks):
    run = HandRun(profile).start()
    run.until_stage(3).seconds(5).answered().until_stage(6).seconds(8).answered().seconds(60)
    for _mark in range(marks):
        run.did(ms.MARK).seconds(5)
    return run.finish()


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """Runs 1: a sensor on the chip; 2: none, but marks; 3: neither; 4: never hot."""
    with RunStore.open(tmp_path_factory.mktemp("passes") / "runs.sqlite") as opened:
        for run in (worked(PROFILE, 2), worked(BLIND, 2), worked(BLIND, 0)):
            store_hand_run(opened, run)
        store_run(opened, [drawn_record(tick) for tick in range(500)])
        yield opened


def test_who_tells_of_a_pass(store):
    counted = [passes_of(view_of(store, number)) for number in (1, 2, 3, 4)]
    assert counted == [Passes(seen=1), Passes(marked=1), Passes(unknown=1), Passes()]
    told = " ".join(passes_words(counted, "in runs 1 to 4"))
    assert "2 of 3, in runs 1 to 4" in told and "mark, seen by no sensor: 1." in told
    assert "1 times; count them as passes" in told and "in the factory" in told


def hot(tick, celsius):
    return drawn_record(tick, channel0_cdeg=celsius * 100, channel1_cdeg=(celsius - 4) * 100)


@pytest.mark.parametrize(
    ("course_c", "passes"),
    [
        ([25, 182, 183], 0),  # at it is not above
        ([25, 184, 25], 1),
        ([25, 184, 180, 184, 25], 1),  # no colder than 10 degC below: the same pass
        ([25, 184, 150, 184, 25, 190], 3),
        ([200, 200, 100], 1),  # hot from the first record on
    ],
)
def test_one_pass_ends_well_below(tmp_path, course_c, passes):
    leaded = DRAWN_PROFILE.replace("SAC305", "Sn63Pb37")
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        records = [hot(tick, celsius) for tick, celsius in enumerate(course_c)]
        number = store_run(opened, records, profile_toml=leaded)
        assert passes_of(view_of(opened, number)) == Passes(seen=passes)


def test_a_solder_that_is_not_in_the_book(tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        strange = DRAWN_PROFILE.replace("SAC305", "Chewing gum")
        number = store_run(opened, [hot(0, 200)], profile_toml=strange)
        counted = passes_of(view_of(opened, number))
    assert counted is None
    (told,) = passes_words([counted, Passes(1)], "in this record")
    assert "cannot be counted" in told


def test_runs_that_went_on_with_each_other_belong_together(tmp_path):
    with RunStore.open(tmp_path / "runs.sqlite") as opened:
        first = store_run(opened, [drawn_record(5)], end=("tripped", 3))
        alone = store_run(opened, [drawn_record(5)])
        second = store_run(opened, [drawn_record(5)], end=("tripped", 3), linked_to=first)
        third = store_run(opened, [drawn_record(5)], linked_to=second)
        for number in (first, second, third):
            assert linked_runs(opened, number) == [first, second, third]
        assert linked_runs(opened, alone) == [alone]
        itself = store_run(opened, [drawn_record(5)], linked_to=third + 1)
        assert linked_runs(opened, itself) == [itself]
