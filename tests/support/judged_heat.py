"""A judge on a bench that senses its contactor."""

from emberbed_fw import settings as fw_settings
from emberbed_fw.memory_watch import MemoryWatch
from emberbed_fw.record import (
    PORT_CONTACTOR_CLOSED,
)
from tests.support.doubted import MODEL, plan_with
from tests.support.judged import Judged

CLOSED = PORT_CONTACTOR_CLOSED
BOTH = fw_settings.HAS_CONTACTOR_SENSE | fw_settings.HAS_HEAT_SENSE


def judged(has=BOTH, **model):
    one = Judged(has)
    one.plan = plan_with(**(model or MODEL))
    one.guard.memory = MemoryWatch(one.plan.tables(), [one.plan.limit_cdeg])
    one.guard.model.emitter_mk = one.guard.model.most_emitter_mk = 400000
    return one
