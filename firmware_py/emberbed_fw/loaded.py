"""A checked plan with all that works through it, opened between ticks: a tick only swaps."""

from emberbed_fw.feedforward import Feedforward
from emberbed_fw.heat_need import HeatNeed
from emberbed_fw.memory_watch import MemoryWatch
from emberbed_fw.pid import Pid
from emberbed_fw.sequencer import Sequencer
from emberbed_fw.units import NONE, ZONES


class Loaded:
    """Plan, sequencer, controllers, and the sums over every number that the run will live by."""

    def __init__(self, plan, settings, ceiling_cdeg):
        self.plan = plan
        self.feedforward = Feedforward(plan)
        self.sequencer = Sequencer(plan)
        self.pids = [Pid(plan.header, zone) for zone in range(ZONES)]
        in_use = [zone for zone in range(ZONES) if plan.control[zone] != NONE]
        self.needs = {zone: HeatNeed(plan, zone) for zone in in_use}
        limits = [plan.limit_cdeg, plan.air_limit_cdeg, ceiling_cdeg]
        self.memory = MemoryWatch(plan.tables() + settings.tables(), limits)
