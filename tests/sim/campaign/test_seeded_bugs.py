"""Seeded bugs: each fits the firmware once, some are hunted, the right firmware is clean."""

import pytest

from emberbed.firmware_sources import firmware_folder, read_sources
from emberbed_sim.campaign.cells import run_cell
from emberbed_sim.campaign.seeded_bugs import Bug, BugError, broken, bugs, hunt
from emberbed_sim.campaign.table import cells

FAST = ("fault bits not checked", "the lease never expires", "trips do not latch")


def test_there_are_at_least_thirty_with_names_of_their_own():
    names = [bug.name for bug in bugs()]
    assert len(names) == len(set(names)) >= 30


@pytest.mark.parametrize("bug", bugs(), ids=lambda bug: bug.name)
def test_every_bug_fits_the_firmware_and_changes_one_file(bug):
    right, wrong = read_sources(firmware_folder()), broken(bug)
    changed = [name for name in right if right[name] != wrong[name]]
    assert changed == [bug.file]
    compile(wrong[bug.file], bug.file, "exec")


def test_a_bug_that_does_not_fit_is_refused():
    with pytest.raises(BugError, match="fits guard.py 0 times"):
        broken(Bug("nothing", "guard.py", "no such text", "", []))


@pytest.mark.parametrize("name", FAST)
def test_a_bug_is_found_in_a_process_of_its_own(name):
    found = hunt(next(bug for bug in bugs() if bug.name == name))
    assert found.found, found


def test_firmware_without_a_bug_is_not_found():
    unchanged = Bug(
        "none", "units.py", "TICK_MS = 100", "TICK_MS = 100", ["tc_open soak edge/with/known"]
    )
    assert broken(unchanged) == read_sources(firmware_folder())


def test_what_finds_bugs_is_clean_with_the_right_firmware():
    wanted = {(name, seed) for bug in bugs() for name in bug.cells for seed in bug.seeds}
    by_name = {cell.name: cell for cell in cells()}
    missed = {
        (name, seed): miss
        for name, seed in sorted(wanted)
        if (miss := run_cell(by_name[name], seed).miss)
    }
    assert missed == {}
