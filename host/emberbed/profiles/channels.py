"""Fit the sensors of a profile to the channels of a device, by name.

Channels are named by index; an empty name means no such channel. Ceilings are the highest readings
the device allows, in hundredths of a degree C.
"""

from collections.abc import Iterator, Sequence

from emberbed.plain_text import did_you_mean
from emberbed.profiles.model import Profile
from emberbed.profiles.timing import peak_cdeg
from emberbed.profiles.whole_rules import Location
from emberbed_fw.settings import is_emitter_ceiling


def channel_mistakes(
    profile: Profile, channel_names: Sequence[str], ceilings_cdeg: Sequence[int]
) -> Iterator[tuple[Location, str]]:
    """Yield (location, sentence) for every sensor this device cannot serve."""
    fitted = [name for name in channel_names if name]
    peak = peak_cdeg(profile)
    for name, sensor in profile.sensors.items():
        if name not in fitted:
            mend = did_you_mean(name, fitted, "its channels are")
            yield ("sensors", name), f'the device has no channel "{name}"; {mend}'
            continue
        ceiling = ceilings_cdeg[list(channel_names).index(name)]
        on_emitter = is_emitter_ceiling(ceiling)
        if on_emitter != (sensor.role == "emitter"):
            sits = "an emitter" if on_emitter else "the board"
            mend = "emitter" if on_emitter else "such as edge"
            yield (
                ("sensors", name),
                f"the device's {name} sits on {sits} by its description (it allows"
                f" {ceiling / 100:g} °C there); give it the role {mend}",
            )
        elif sensor.role == "control" and ceiling < peak:
            yield (
                ("sensors", name),
                f"the device allows {ceiling / 100:g} °C at {name} and the profile asks for"
                f" {peak / 100:g} °C; keep every stage below the device's limit",
            )
