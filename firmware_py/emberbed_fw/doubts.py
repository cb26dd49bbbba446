"""Everything by which the guard doubts the sensors: heat balance, pairs, jumps, standstill.

`judge` once a tick gives WITHHELD_* bits; `trip` names what must end the heating, NO_TRIP for
nothing. What rests on the guard's own model of the heater trips only where that heater was
identified (`model_trust`); a guessed one asks, warns and slows down. Under hot air, and a while
after it, the balance says nothing, and neither does a bead that hands hold. Serves H01, H02, H05.
"""

from emberbed_fw import safety_limits as limits
from emberbed_fw import trip_codes as codes
from emberbed_fw.heat_balance import HeatBalance, Q
from emberbed_fw.jump_watch import JumpWatch
from emberbed_fw.pair_watch import PairWatch
from emberbed_fw.stuck_watch import StuckWatch
from emberbed_fw.units import CHANNELS, NO_READING_CDEG, NONE, TICKS_PER_S

TOUCHING_PROMPT = 250  # "no rise for the heat sent: does the sensor touch the board?"


class Facts:
    """What a tick knows besides its readings, filled by the guard."""

    def __init__(self):
        self.tick = 0
        self.heats = False
        self.staged = False  # and its stages run: no proof any more
        self.holds = False  # the board stands at the level of a hold
        self.air = False  # hot air from above is on, or was a moment ago
        self.lifting = 0  # beads that seem to lift, as bits
        self.driven_w = 0  # in the tick before
        self.sees_current = False  # a sense tells whether emitters get current
        self.acknowledged = NONE  # the prompt answered in this tick


class Doubts:
    STATE = ("trip", "warnings", "asks", "slows", "_asked", "_asked_ticks", "_coming_ticks",
             "cold_ticks", "blown_ticks", "_settle_ticks", "_missing_ticks", "_behind_ticks",
             "_start_ticks")

    def __init__(self):
        self.balance = HeatBalance()
        self.pairs = PairWatch()
        self.jumps = JumpWatch()
        self.stuck = StuckWatch()
        self.clear()

    def clear(self):
        """Begin anew: at arming. The emitters stay as hot as they are."""
        self.trip = codes.NO_TRIP
        self.warnings = 0
        self.asks = 0  # whether the sensor touches
        self.slows = 0  # the plan's clock stands: what the board does is not explained
        self._asked = 0
        self._asked_ticks = 0
        self._coming_ticks = 0
        self.cold_ticks = 0  # in which the converters' own temperatures cannot be
        self.blown_ticks = 0  # left in which hot air that nobody announced explains a fall
        self._settle_ticks = 0
        self._missing_ticks = 0
        self._behind_ticks = 0
        self._start_ticks = 0  # heat driven before the control sensor has risen
        self.balance.forget()
        self.pairs.forget()
        self.jumps.forget()
        self.stuck.forget()

    def prompt(self):
        return TOUCHING_PROMPT if self.asks else NONE

    def judge(self, facts, readings, plan, limit_cdeg):
        """Take one tick with its `facts` (Facts); return WITHHELD_* bits. `limit_cdeg`: the limit
        of each channel now."""
        self.trip = codes.NO_TRIP
        self.warnings = 0
        self.slows = 0
        control = plan.control[0]
        cold_cdeg = readings.cold_cdeg[control]
        balance = self.balance
        modelled = plan.header["emitter_j_per_k"] > 0
        self.jumps.step(readings, plan.off_jet, facts.air or facts.lifting)
        board_cdeg = NO_READING_CDEG if self.jumps.disturbed else readings.cdeg[control]
        if modelled:
            balance.step(plan.header, facts.driven_w, board_cdeg, cold_cdeg, facts.tick)
        self._excuse(facts)
        withheld = self._cold_junctions(readings, plan)
        if not facts.lifting:  # a bead in somebody's tweezers tells nothing of its partner
            self.pairs.step(readings, plan, facts.holds, facts.air)
        if modelled:
            withheld |= self._surplus(plan, facts)
        if not facts.heats:
            self.asks = 0
            self.trip = codes.NO_TRIP  # hands warm and cool beads as they like
            return withheld
        withheld |= self._sensors(readings, plan, modelled)
        self._watch_others(readings, plan)
        withheld |= self._start(plan, readings, facts.driven_w, facts.acknowledged, modelled)
        if modelled:
            withheld |= self._coming(readings, plan, limit_cdeg, facts.lifting or facts.air)
            self._missing(plan)
        return withheld

    def _excuse(self, facts):
        """Hot air and hands do what the model does not know."""
        if facts.air or facts.lifting:
            self._settle_ticks = limits.AIR_SETTLE_TICKS
        elif self._settle_ticks > 0:
            self._settle_ticks -= 1
        if self.blown_ticks > 0:
            self.blown_ticks -= 1
        if self._settle_ticks > 0 or not facts.heats:
            self.balance.missing_q6 = 0
        if facts.air or facts.lifting:
            self.balance.surplus_q6 = 0

    def _sensors(self, readings, plan, modelled):
        """Pairs, jumps and readings that stand still."""
        withheld = 0
        if self.pairs.apart:
            withheld |= codes.WITHHELD_APART
            if self.pairs.apart >= limits.PAIR_TICKS:
                self.trip = codes.SENSORS_DISAGREE
        if self.jumps.disturbed:
            withheld |= codes.WITHHELD_DISTURBED
        if self.jumps.overdue():
            self.trip = codes.READING_JUMPS
        if modelled and self.stuck.step(readings, plan.tells_spread, self.balance.must_q6):
            self.trip = codes.READING_STUCK
        return withheld

    def _start(self, plan, readings, driven_w, acknowledged, modelled):
        """Ask once, and then trip, when heat is spent and the control sensor does not rise."""
        if self.asks:
            return self._await_answer(acknowledged)
        if not modelled:
            spent = self._time_spent(plan, readings, driven_w)
        elif self._asked and not plan.header["model_trust"]:
            # a person says that it touches, and the model is a guess: only much contradicts that
            missing_mk = self.balance.missing_q6 >> Q
            spent = missing_mk >= VOUCHED * limits.BALANCE_TRIP_MK
        else:
            spent = self._budget_spent(plan) or self._no_arrival(plan)
        if not (spent or self._behind_ticks >= limits.BEHIND_TICKS):
            return 0
        if self._asked >= limits.MOST_ASKS:
            self.trip = codes.NO_RISE
        else:
            self._asked += 1
            self.asks = 1
            self._asked_ticks = 0
        return codes.WITHHELD_ASKS

    def _watch_others(self, readings, plan):
        """Count while the control sensor is far below another one that tells the board."""
        control_cdeg = readings.cdeg[plan.control[0]]
        behind = False
        for channel in range(CHANNELS):
            if plan.tells_spread[channel] and control_cdeg != NO_READING_CDEG:
                behind = behind or readings.cdeg[channel] - control_cdeg > limits.BEHIND_CDEG
        behind = behind and self._settle_ticks == 0
        self._behind_ticks = min(self._behind_ticks + 1, limits.BEHIND_TICKS) if behind else 0

    def _budget_spent(self, plan):
        budget_j = plan.header["start_budget_j"]
        balance = self.balance
        return 0 < budget_j <= balance.net_j and balance.risen_cdeg < limits.START_RISE_CDEG

    def _time_spent(self, plan, readings, driven_w):
        """Full power for so long, and a sensor that still reads the room."""
        control = plan.control[0]
        risen_cdeg = readings.cdeg[control] - readings.cold_cdeg[control]
        if risen_cdeg >= limits.COLD_START_CDEG:
            self._start_ticks = 0
        elif driven_w > 0:
            self._start_ticks = min(self._start_ticks + 1, MOST_START_TICKS)
        declared = plan.header["least_capacity_j_per_k"] > 0
        seconds = limits.START_S if declared else limits.START_ANY_BOARD_S
        return self._start_ticks >= seconds * TICKS_PER_S

    def _no_arrival(self, plan):
        """Tell whether a guessed model misses so much rise that a person should look."""
        return not plan.header["model_trust"] and self._missing_ticks >= limits.BALANCE_TICKS

    def _await_answer(self, acknowledged):
        self._asked_ticks += 1
        if acknowledged == TOUCHING_PROMPT:
            self.asks = 0
            self._start_ticks = 0
            self._behind_ticks = -limits.ANSWER_TICKS  # time to see it rise
            self.balance.excuse()
            return codes.WITHHELD_ASKS
        if self._asked_ticks >= limits.ANSWER_TICKS:
            self.trip = codes.NO_RISE
        return codes.WITHHELD_ASKS

    def _coming(self, readings, plan, limit_cdeg, excused):
        """Heat that the emitters still hold must not carry a sensor to its limit."""
        least_room = COLDEST_ROOM
        for channel in range(CHANNELS):
            if plan.tells_spread[channel] and readings.cdeg[channel] != NO_READING_CDEG:
                room = limit_cdeg[channel] - readings.cdeg[channel] - self.balance.coast_cdeg
                least_room = min(least_room, room)
        if least_room >= limits.COMING_ROOM_CDEG:
            self._coming_ticks = 0
            return 0
        # a bead that fell makes the board look hungry, one in a jet makes it look hot
        past = least_room < 0 and not excused
        self._coming_ticks = self._coming_ticks + 1 if past else 0
        if plan.header["model_trust"] and self._coming_ticks >= limits.COMING_TICKS:
            self.trip = codes.PREDICTED_PEAK
        return codes.WITHHELD_COMING

    def _missing(self, plan):
        """Too little rise. A bead that falls fast is lift_watch's: it is given time to say so."""
        missing_mk = self.balance.missing_q6 >> Q
        if missing_mk >= limits.BALANCE_WARN_MK:
            self.warnings |= codes.WARN_MISSING
            self.slows = 1
        lost = missing_mk >= limits.BALANCE_TRIP_MK
        self._missing_ticks = self._missing_ticks + 1 if lost else 0
        if plan.header["model_trust"] and self._missing_ticks >= limits.BALANCE_TICKS:
            self.trip = codes.HEAT_NOT_ARRIVING

    def _surplus(self, plan, facts):
        """Too much rise. Where a sense says that no current flows uncommanded, it is hot air that
        nobody has announced: no heat is added to it, and what it brought may go again."""
        surplus_mk = self.balance.surplus_q6 >> Q
        if surplus_mk < limits.BALANCE_WARN_MK:
            return 0
        self.warnings |= codes.WARN_SURPLUS
        self.slows = 1
        if facts.sees_current:
            self._settle_ticks = limits.AIR_SETTLE_TICKS
            if not self.jumps.score:  # air rises steadily; what jumps is a wire, or a bead
                self.blown_ticks = limits.AIR_SETTLE_TICKS
            return codes.WITHHELD_SURPLUS if facts.staged else 0  # a proof needs its pulse
        if plan.header["model_trust"] and surplus_mk >= limits.BALANCE_TRIP_MK:
            self.trip = codes.HEAT_SURPLUS
        return 0

    def _cold_junctions(self, readings, plan):
        """Every converter's own temperature must be a workshop's, and like its neighbours'."""
        coldest, warmest = limits.MOST_COLD_CDEG, limits.LEAST_COLD_CDEG
        for channel in range(CHANNELS):
            if plan.in_use[channel] and readings.cdeg[channel] != NO_READING_CDEG:
                coldest = min(coldest, readings.cold_cdeg[channel])
                warmest = max(warmest, readings.cold_cdeg[channel])
        sound = (coldest >= limits.LEAST_COLD_CDEG and warmest <= limits.MOST_COLD_CDEG
                 and warmest - coldest <= limits.COLD_APART_CDEG)
        self.cold_ticks = 0 if sound else self.cold_ticks + 1
        if self.cold_ticks >= limits.COLD_TICKS:
            self.trip = codes.COLD_JUNCTION
        return 0 if sound else codes.WITHHELD_SENSOR


MOST_START_TICKS = 10000
VOUCHED = 4  # times the usual bound
COLDEST_ROOM = 100000
