"""What a run takes over from a heater file: its gains, and more power where the fit has earned it.

The first power cap stands until the file repeats what it had not seen well, its watts are the
device's, and the device knows what its socket gives; then the socket is the cap.
"""

from dataclasses import dataclass

from emberbed.device_description import DeviceDescription
from emberbed.heater.default_gains import POWER_CAP, Gains
from emberbed.heater.heater_file import LEAST_UNSEEN_PERCENT, HeaterFile
from emberbed.plain_text import printable
from emberbed.profiles.energy import heat_capacity_j_per_k
from emberbed.profiles.guard_model import DECLARED, GuardModel, of_conductances
from emberbed.profiles.model import Board
from emberbed.profiles.planned import Planner
from emberbed.profiles.zones import Coupling

MOST_WATTS_OFF = 0.1  # of the device's watts, about what mains voltage does


@dataclass(frozen=True)
class Identified:
    """A heater file and what sentences call it."""

    heater: HeaterFile
    shown: str
    plan_anew: bool = False  # the power of later stages, while the operator is waited for
    on_its_board: bool = False  # the measured board lies on it, whatever board a profile states

    def gains(self) -> Gains | None:
        """Return the gains tuned for this heater, None where nobody tuned it."""
        return None if self.heater.gains is None else self.heater.gains.gains()

    def power_cap(self, description: DeviceDescription) -> float:
        """Return the power that may be asked for, in parts of full."""
        if self._why_capped(description) is not None:
            return POWER_CAP
        return min(1.0, description.socket_watts / description.heater_watts)

    def guard_model(self, description: DeviceDescription, board: Board | None) -> GuardModel:
        """Return what the device's guard may know of this heater; it trips by it only where the
        fit has earned it, and for a board like the one that was measured."""
        physics = self.heater.physics()
        # a file without watts counts in parts of full power
        scale = 1.0 if self.heater.scale.full_power_w else float(description.heater_watts)
        emitter, on_board, astray, air, board_j_k = (
            scale * float(number)
            for number in (
                physics.emitter_j_k,
                physics.emitter_board_w_k4,
                physics.emitter_around_w_k4,
                physics.emitter_air_w_k,
                physics.board_j_k,
            )
        )
        alike = board is not None and (
            DECLARED[0] <= board_j_k / heat_capacity_j_per_k(board) <= DECLARED[1]
        )
        trusted = alike and self._why_doubted(description) is None
        measured = board_j_k if alike or self.on_its_board else None
        return of_conductances(emitter, on_board, astray, air, trusted, measured)

    def coupling(self, description: DeviceDescription) -> Coupling | None:
        """Return how the device's zones warm its sensors, where the file knows these zones."""
        zones = self.heater.zones
        if zones is None or zones.watts != description.zone_watts:
            return None
        return zones.coupling()

    def planner(self, description: DeviceDescription) -> Planner | None:
        """Return what plans setpoints and power for this heater, where the fit has earned it."""
        if self._why_doubted(description) is not None:
            return None
        from emberbed.limit.feedforward import planner_for  # scipy and a solver: only for a plan

        return planner_for(tuple(self.heater.values.items()), self.heater.values["room_c"])

    def notes(self, description: DeviceDescription) -> list[str]:
        """Return what a person should know before heat, a sentence each."""
        tuned = self.heater.gains
        gains = (
            f"{self.shown} has no gains, so those of a heater nobody tuned are used; `emberbed"
            " tune` finds better ones"
            if tuned is None
            else f"gains are those tuned for {self.shown} ({printable(tuned.rule)})"
        )
        why = self._why_capped(description)
        allowed = f"power goes up to {100 * self.power_cap(description):.0f} %"
        power = f"{allowed}, as {self.shown} is well identified" if why is None else (
            f"{allowed} only, as {why}"
        )  # fmt: skip
        return [gains, power, *self._zone_notes(description)]

    def _zone_notes(self, description: DeviceDescription) -> list[str]:
        """Return why zones are heated alike although a heater file is there."""
        watts = description.zone_watts
        if len(watts) == 1 or self.coupling(description) is not None:
            return []
        zones = self.heater.zones
        has = "nothing of zones" if zones is None else f"zones of {zones.watts} W"
        return [
            f"all zones are heated alike, as {self.shown} knows {has} and the device has zones of"
            f" {watts} W; identify the heater again on this device"
        ]

    def _why_capped(self, description: DeviceDescription) -> str | None:
        why = self._why_doubted(description)
        if why is None and description.socket_watts <= POWER_CAP * description.heater_watts:
            return "the device does not say that its socket gives more"
        return why

    def _why_doubted(self, description: DeviceDescription) -> str | None:
        unseen, watts = self.heater.fit.percent_unseen, description.heater_watts
        of_file = self.heater.scale.full_power_w
        if unseen is None:
            return f"{self.shown} was never tried on data it had not seen"
        if not self.heater.fit.earned:
            least = f"{LEAST_UNSEEN_PERCENT:g} % lift the cap"
            return f"{self.shown} repeats unseen data by {unseen:.1f} % and {least}"
        if of_file is None or abs(of_file - watts) > MOST_WATTS_OFF * watts:
            has = "no watts" if of_file is None else f"{of_file:g} W"
            return f"{self.shown} has {has} and the device's heater {watts} W"
        return None
