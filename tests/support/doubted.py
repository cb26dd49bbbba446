"""Doubts on a table: one tick of healthy facts and readings that single tests spoil."""

import pytest

from emberbed_fw.doubts import Doubts, Facts
from emberbed_fw.heat_balance import Q
from emberbed_fw.plan import Plan
from emberbed_fw.units import CHANNELS, NONE
from tests.support.judged import Fed
from tests.support.plans import build_plan, cool, ramp

STAGES = [ramp(2500, 9000, 650), cool()]
LIMIT_CDEG = 12000
# A 1 kW bank of quartz tubes under a board of 100 J/K.
MODEL = dict(
    emitter_j_per_k=120, exchange_cm2=100, around_cm2=120, convection_mw_per_k=400,
    board_loss_mw_per_k=500, least_capacity_j_per_k=70, most_capacity_j_per_k=140, model_trust=1,
    start_budget_j=1400,
)  # fmt: skip
GUESSED = {**MODEL, "model_trust": 0}
NO_MODEL = {"least_capacity_j_per_k": 70, "most_capacity_j_per_k": 140}
TRUSTED_OR_NOT = pytest.mark.parametrize("model", [MODEL, GUESSED], ids=["identified", "guessed"])


def plan_with(**header):
    limits = dict(limit0_cdeg=LIMIT_CDEG, limit1_cdeg=LIMIT_CDEG)
    return Plan(build_plan(STAGES, **{**limits, **header}))


class Doubted:
    """A heated board at 80 degC whose last bit moves; `model` is what the plan knows of it."""

    def __init__(self, **model):
        self.doubts = Doubts()
        self.plan = plan_with(**(model or MODEL))
        self.facts = Facts()
        self.facts.heats = True
        self.facts.staged = True
        self.readings = Fed(8000, 7900)
        self.live_cdeg = 25
        self.withheld = 0

    def tick(self, count=1):
        for _ in range(count):
            self.facts.tick += 1
            self.readings.cdeg[0] += self.live_cdeg * (1 if self.facts.tick % 20 == 0 else 0)
            self.live_cdeg *= -1 if self.facts.tick % 20 == 0 else 1
            limits = [LIMIT_CDEG] * CHANNELS
            self.withheld = self.doubts.judge(self.facts, self.readings, self.plan, limits)
            self.facts.acknowledged = NONE
        return self.withheld

    def until_trip(self, most=2000):
        for taken in range(1, most):
            self.tick()
            if self.doubts.trip:
                return taken
        return None

    def missing(self, mk):
        """Let this much rise be missing, in mK."""
        self.doubts.balance.missing_q6 = mk << Q

    def surplus(self, mk):
        self.doubts.balance.surplus_q6 = mk << Q

    def keep_balance(self):
        """Let the sums stand where a test puts them: the balance has tests of its own."""
        self.doubts.balance.step = lambda *_arguments: None
        return self


def still(model=MODEL):
    """Return a bench whose heat is accounted for."""
    return Doubted(**model).keep_balance()


def asked(model=MODEL):
    """Return a bench that was just asked whether its sensor touches."""
    one = still(model)
    one.doubts.balance.net_j = 1400
    one.tick()
    assert one.doubts.asks
    return one
