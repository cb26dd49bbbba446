"""The switches between mains and emitters, their senses, and the fan, whole or broken.

Takes the wires of one tick (drive bits, bit n the SSR of zone n; output bits) and what happens,
gives the share of full power that really flowed in each zone and the port flags a device would
read. All zones stand behind one contactor, and heat flows only while both conduct. The bits are the
wiring, restated here because physics imports no firmware; a test compares both.
"""

from math import prod

from emberbed_sim.plant.fault_rows import IN_THE_MAINS, IN_THE_SWITCHES
from emberbed_sim.plant.happenings import NOTHING, Happening
from emberbed_sim.plant.parameters import TICK_S

ZONE_BANK = 1  # the drive bit of the first zone, the only one of a lumped bench
OUT_CONTACTOR = 1
OUT_FAN = 2
PORT_CONTACTOR_CLOSED = 2
PORT_HEAT_CURRENT = 4
PORT_FAN_TURNS = 8
CONTACTOR_DELAY_S = 0.03  # coil command to contact, both ways; from memory
SENSED_SHARE = 0.04  # of full power: a fifth of the full current trips a current relay; from memory
HALF_WAVE_SHARE = 0.5
POWER_ROWS = {kind.name for kind in (*IN_THE_SWITCHES, *IN_THE_MAINS)}


class SwitchGear:
    """SSRs, contactor and fan with the senses after them; `port_flags` at the end of the tick."""

    def __init__(self, zones: int = 1) -> None:
        self._zones = range(zones)
        self._wired = (1 << zones) - 1
        self.ssr_conducts = False  # any of them
        self.contactor_closed = False
        self.fan_turns = False
        self.port_flags = 0

    def step(self, driven_zones: int, outputs: int, now: Happening = NOTHING) -> list[float]:
        """Set the switches for one tick; return the share of full power that flowed, by zone."""
        if now and not now.keys().isdisjoint(POWER_ROWS):
            return self._step_broken(driven_zones, outputs, now)
        closed_share = self._move_contactor(bool(outputs & OUT_CONTACTOR))
        self.ssr_conducts = bool(driven_zones & self._wired)
        self.fan_turns = bool(outputs & OUT_FAN)
        self.port_flags = self._flags(self.ssr_conducts and closed_share > 0)
        return [closed_share if driven_zones >> zone & 1 else 0.0 for zone in self._zones]

    def _step_broken(self, driven_zones: int, outputs: int, now: Happening) -> list[float]:
        powered = "mains_lost" not in now
        coil_on = powered and bool(outputs & OUT_CONTACTOR)
        closed = (coil_on or "contactor_welded" in now) and "contactor_stuck_open" not in now
        closed_share = self._move_contactor(closed)
        fan_on = bool(outputs & OUT_FAN) or "fan_stuck_on" in now
        self.fan_turns = fan_on and powered and "fan_stuck_off" not in now
        conducts = [_conducts(bool(driven_zones >> zone & 1), zone, now) for zone in self._zones]
        self.ssr_conducts = any(conducts)
        volts = _volts_share(now)
        flows = [_flow(conducts[zone], zone, now) * volts**2 for zone in self._zones]
        flags = self._flags(closed_share > 0 and max(flows) >= SENSED_SHARE)
        self.port_flags = _as_sensed(flags, now)
        return [closed_share * flow for flow in flows]

    def _flags(self, current_flows: bool) -> int:
        return (
            (PORT_CONTACTOR_CLOSED if self.contactor_closed else 0)
            | (PORT_HEAT_CURRENT if current_flows else 0)
            | (PORT_FAN_TURNS if self.fan_turns else 0)
        )

    def _move_contactor(self, closed: bool) -> float:
        """Move the contact; return the share of the tick it was closed."""
        was_closed, self.contactor_closed = self.contactor_closed, closed
        late = CONTACTOR_DELAY_S / TICK_S
        return (late if was_closed else 0.0) + (1 - late if closed else 0.0)


def _passed(conducts: bool, now: Happening) -> float:
    """Return the share of the mains that a broken SSR lets through."""
    if conducts:
        return HALF_WAVE_SHARE if "ssr_half_wave" in now else 1.0
    return max((event.amount / 100 for event in now.get("ssr_leaks", ())), default=0.0)


def _conducts(driven: bool, zone: int, now: Happening) -> bool:
    """Tell whether the SSR of a zone conducts."""
    return (driven and not _is_so("ssr_stuck_off", zone, now)) or _is_so("ssr_stuck_on", zone, now)


def _flow(conducts: bool, zone: int, now: Happening) -> float:
    """Return what SSR and emitters of a zone take of full power at nominal voltage."""
    if conducts:
        passed = HALF_WAVE_SHARE if _is_so("ssr_half_wave", zone, now) else 1.0
    else:
        passed = max(_amounts("ssr_leaks", zone, now), default=0.0) / 100
    return passed * prod(left / 100 for left in _amounts("emitter_open", zone, now))


def _volts_share(now: Happening) -> float:
    """Return the mains voltage over the nominal one."""
    if "mains_lost" in now:
        return 0.0
    return prod(event.amount / 100 for event in now.get("mains_off_nominal", ()))


def _amounts(name: str, zone: int, now: Happening) -> list[float]:
    return [event.amount for event in now.get(name, ()) if event.part == zone]


def _is_so(name: str, zone: int, now: Happening) -> bool:
    return bool(_amounts(name, zone, now))


def _as_sensed(flags: int, now: Happening) -> int:
    """Return the flags as broken senses give them."""
    for name, flag, stuck in (
        ("mirror_dead", PORT_CONTACTOR_CLOSED, False),
        ("mirror_stuck", PORT_CONTACTOR_CLOSED, True),
        ("current_sense_dead", PORT_HEAT_CURRENT, False),
        ("current_sense_stuck", PORT_HEAT_CURRENT, True),
        ("tach_dead", PORT_FAN_TURNS, False),
    ):
        if name in now:
            flags = flags | flag if stuck else flags & ~flag
    return flags
