"""What a hot-air tool on the heater's socket leaves for the heater.

From the first stage on that plugs a tool in, the heater's mean power stays below what the socket
has left: breakers and plugs warm slowly, so the mean counts. Power in W; a cap in the plan's parts
of full power, 0 where the zone's own cap holds.
"""

from collections.abc import Iterator
from typing import NamedTuple

from emberbed.profiles.model import HotAir, Profile
from emberbed.profiles.whole_rules import Location
from emberbed_fw.units import FULL_POWER_Q15


class Socket(NamedTuple):
    """Watts of the socket and of the heater at full power, 0 where not known; share allowed."""

    socket_w: float
    heater_w: float
    power_cap: float

    def is_known(self) -> bool:
        return self.socket_w > 0 and self.heater_w > 0


def tools(profile: Profile) -> Iterator[tuple[int, HotAir]]:
    """Yield index and stage of each hot-air tool that is on the heater's socket."""
    for index, stage in enumerate(profile.stages):
        if isinstance(stage, HotAir) and stage.tool_w > 0:
            yield index, stage


def caps_q15(profile: Profile, socket: Socket) -> list[int]:
    """Return the cap of each stage; 0 = no other than the zone's own."""
    caps, tool_w = [], 0.0
    for stage in profile.stages:
        if isinstance(stage, HotAir):
            tool_w = max(tool_w, stage.tool_w)
        cap = 0
        if tool_w > 0 and socket.is_known():
            left = (socket.socket_w - tool_w) / socket.heater_w
            cap = int(min(socket.power_cap, left) * FULL_POWER_Q15)
        caps.append(cap)
    return caps


def no_watts_left(profile: Profile, socket: Socket) -> Iterator[tuple[Location, str]]:
    """Yield (location, sentence) for each tool that leaves the heater nothing."""
    if not socket.is_known():
        return
    for index, stage in tools(profile):
        if (socket.socket_w - stage.tool_w) / socket.heater_w * FULL_POWER_Q15 < 1:
            yield (
                ("stages", index, "tool_w"),
                f"the hot-air tool takes {stage.tool_w:g} W and the socket gives"
                f" {socket.socket_w:g} W, which leaves the heater nothing; plug the tool in"
                " elsewhere and write tool_w = 0, or use a smaller one",
            )
