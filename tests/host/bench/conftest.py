"""Fixtures of the bench's tests."""

from types import SimpleNamespace

import pytest

from emberbed.bench import absence
from emberbed.bench.ledger import Ledger
from emberbed.bench.run_loop import BenchRun
from emberbed.bench.story import Story
from emberbed.profiles.compile import decode_plan
from emberbed.store.run_store import RunStore
from emberbed_fw import run_states as rs
from tests.host.bench.drawn_panel import WIDTHS, shown
from tests.host.bench.fakes import FakeDevice, FakeHand, FakeScreen
from tests.host.bench.taped import PROFILE
from tests.host.store.synthetic_run import facts
from tests.support.tapes import loop_of, plan_of, rehearsed


@pytest.fixture(autouse=True)
def short_patience(monkeypatch):
    """A link that broke on a tape is tried again for a moment only."""
    monkeypatch.setattr(absence, "TRIES_FOR_S", 0.3)
    monkeypatch.setattr(absence, "PAUSE_S", 0.01)


@pytest.fixture(scope="module")
def tape():
    return list(loop_of(PROFILE).run())


@pytest.fixture(scope="module")
def tripped_tape():
    return list(loop_of(PROFILE, "tc_open@40s").run())


@pytest.fixture
def bench(tmp_path):
    """Return a function that lets the loop run over a tape: what it left behind."""
    stores = []

    def run(tape, hand=None, batch=10, why_gone=lambda: None, prepare=lambda _device: None):
        plan, prompts = plan_of(PROFILE)
        store = RunStore.open(tmp_path / "runs.sqlite")
        stores.append(store)
        ledger = Ledger(store, facts())
        device, screen = FakeDevice(tape, batch), FakeScreen()
        prepare(device)
        story = Story(decode_plan(plan), prompts, {0: "top_near_chip", 1: "edge"})
        loop = BenchRun(device, ledger, story, screen, hand or FakeHand(), why_gone)
        outcome = loop.watch(plan)
        return SimpleNamespace(
            outcome=outcome, device=device, screen=screen, store=store, run_id=ledger.run_id,
            loop=loop, ledger=ledger, story=story,
        )  # fmt: skip

    yield run
    for store in stores:
        store.close()


@pytest.fixture(scope="module", params=WIDTHS)
def width(request):
    return request.param


@pytest.fixture(scope="module")
def tripped(width):
    """The panel a minute after a couple broke."""
    broken = rehearsed("label-printer", "tc_open@100s")
    return shown(broken, width, lambda one: one.state == rs.COOL and one.stage_elapsed == 600)
