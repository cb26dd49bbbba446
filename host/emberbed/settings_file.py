"""A person's settings for this program: one file, each key also by a variable of the environment.

It lies in the user's configuration folder, or where EMBERBED_SETTINGS says; no file is no fault. An
option on the command line wins over a variable (EMBERBED_DEVICE for `device`), a variable over the
file, the file over what the program takes by itself. Nothing in it lets anything heat, opens the
page to others, or changes what is stored. SettingsFault is one sentence: the place, the mend.
"""

import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import platformdirs

from emberbed.plain_text import did_you_mean, hidden_characters, printable

VARIABLE = "EMBERBED_SETTINGS"
PREFIX = "EMBERBED_"
MOST_BYTES = 64 * 1024
MOST_TEXT = 1000  # characters of a path or a port
MOST_PORT = 65535
_YES_OR_NO = {"1": True, "true": True, "yes": True, "0": False, "false": False, "no": False}


class SettingsFault(Exception):
    """The settings cannot be used; the text is one sentence."""


@dataclass(frozen=True)
class Settings:
    """None for what nobody has set. `fahrenheit`: show readings in °F too."""

    device: str | None = None
    store: str | None = None
    heater: str | None = None
    profiles: str | None = None
    page_port: int | None = None
    fahrenheit: bool | None = None

    def for_options(self) -> dict[str, dict[str, Any]]:
        """Return what the options of commands are where nobody gives them."""
        common = {"device": self.device, "heater": self.heater}
        page = {"profiles": self.profiles, "port": self.page_port, "fahrenheit": self.fahrenheit}
        named = {"run": common, "page": {**common, **page}, "doctor": {"device": self.device}}
        return {
            command: {option: value for option, value in given.items() if value is not None}
            for command, given in named.items()
        }


KEYS: dict[str, type] = {
    field.name: {"page_port": int, "fahrenheit": bool}.get(field.name, str)
    for field in fields(Settings)
}


def settings_path() -> Path:
    """Return where the settings lie, or would lie."""
    named = os.environ.get(VARIABLE)
    return Path(named) if named else platformdirs.user_config_path("emberbed") / "settings.toml"


def read_settings() -> Settings:
    """Return the settings as they are now. Raises SettingsFault."""
    return Settings(**{**_from_file(settings_path()), **_from_environment(os.environ)})


def _from_file(path: Path) -> dict[str, Any]:
    shown = printable(path, 200)
    try:
        octets = path.read_bytes() if path.exists() else b""
        data = tomllib.loads(octets[: MOST_BYTES + 1].decode("utf-8"))
    except OSError as error:
        raise SettingsFault(f"{shown} cannot be read ({error.strerror}); mend that") from None
    except (ValueError, RecursionError) as bad:
        where = printable(bad, 120)
        raise SettingsFault(f"{shown}: this is no TOML ({where}); mend that line") from None
    for name in data:
        if name not in KEYS:
            mend = did_you_mean(name, KEYS, "the settings are")
            raise SettingsFault(f'{shown}: "{printable(name)}" is no setting; {mend}')
    return {name: _checked(f"{shown}: {name}", KEYS[name], value) for name, value in data.items()}


def _from_environment(environment: Mapping[str, str]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, kind in KEYS.items():
        variable = f"{PREFIX}{name.upper()}"
        text = environment.get(variable, "")
        if not text:
            continue
        value: Any = text
        if kind is int and text.isascii() and text.isdigit() and len(text) <= len(str(MOST_PORT)):
            value = int(text)
        if kind is bool:
            value = _YES_OR_NO.get(text.lower(), text)
        found[name] = _checked(variable, kind, value)
    return found


def _checked(place: str, kind: type, value: Any) -> Any:
    """Return a value of its kind; SettingsFault otherwise."""
    if kind is bool and type(value) is not bool:
        raise SettingsFault(f"{place} is true or false; write one of them")
    if kind is int and not (type(value) is int and 0 <= value <= MOST_PORT):
        raise SettingsFault(f"{place} is a port, 0 to {MOST_PORT}; write such a number")
    if kind is not str:
        return value
    if not isinstance(value, str) or not 0 < len(value) <= MOST_TEXT or hidden_characters(value):
        raise SettingsFault(f"{place} is 1 to {MOST_TEXT} visible characters; write it anew")
    return value
