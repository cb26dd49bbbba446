"""A session with a person, run once."""

import pytest

from emberbed_fw import messages as ms
from tests.host.report.hand_run import HandRun
from tests.host.revise.revised import AIR, HOLD, SOAK, SOAK_RAMP, WAIT


@pytest.fixture(scope="module")
def session():
    """A person's whole session: held on the way, more time, target up, cut short, marks."""
    run = HandRun().start()
    run.seconds(40).did(ms.HOLD_HERE).seconds(30).did(ms.GO_ON)
    run.until_stage(HOLD).seconds(20).did(ms.EXTEND, 300, ms.BY_PAGE)
    run.until_stage(WAIT).seconds(12).answered()
    run.until_stage(SOAK_RAMP).seconds(20).did(ms.OFFSET, 200).seconds(1).did(ms.OFFSET, 300)
    run.until_stage(SOAK).seconds(33).did(ms.NEXT_STAGE)
    run.until_stage(AIR).seconds(8).answered().seconds(45)
    run.did(ms.MARK).seconds(5).did(ms.MARK).seconds(3).did(ms.MARK)
    return run.finish()
