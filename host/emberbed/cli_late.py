"""Commands that are read only when they are called: `emberbed --help` must not load them all.

A `Late` says where a command is and the line that the list of commands shows of it; a test holds
that line against the command's own.
"""

from collections.abc import Iterator, MutableMapping
from importlib import import_module
from typing import Any, NamedTuple

import typer
from typer.core import TyperCommand, TyperGroup


class Late(NamedTuple):
    """The function, or the group of commands, called `attribute` in `emberbed.MODULE`."""

    module: str
    attribute: str
    line: str


class LateCommands(MutableMapping[str, Any]):
    """Commands by name, each made when it is first asked for."""

    def __init__(self, late: dict[str, Late], made: dict[str, Any]) -> None:
        self._late, self._made = late, dict(made)

    def __getitem__(self, name: str) -> Any:
        if name not in self._made:
            self._made[name] = _made(name, self._late[name])
        return self._made[name]

    def __setitem__(self, name: str, command: Any) -> None:
        self._made[name] = command

    def __delitem__(self, name: str) -> None:
        raise TypeError("no command is taken back")

    def __iter__(self) -> Iterator[str]:
        return iter(self._late | self._made)

    def __len__(self) -> int:
        return len(self._late | self._made)


def _made(name: str, late: Late) -> Any:
    found = getattr(import_module(f"emberbed.{late.module}"), late.attribute)
    app = typer.Typer()
    app.callback()(lambda: None)  # so that a single command is one of a group
    if isinstance(found, typer.Typer):
        app.add_typer(found, name=name)
    else:
        app.command(name)(found)
    return typer.main.get_group(app).commands[name]


def group_of(late: dict[str, Late]) -> type[TyperGroup]:
    """Return the kind of group that has these commands."""

    class LateGroup(TyperGroup):
        def __init__(self, **given: Any) -> None:
            super().__init__(**given)
            self.commands = LateCommands(late, self.commands)  # type: ignore[arg-type]
            self._lists = False

        def list_commands(self, ctx: Any) -> list[str]:
            return list(self.commands)

        def get_command(self, ctx: Any, cmd_name: str) -> Any:
            if self._lists and cmd_name in late:
                return TyperCommand(cmd_name, help=late[cmd_name].line)
            return super().get_command(ctx, cmd_name)

        def format_help(self, ctx: Any, formatter: Any) -> None:
            self._lists = True
            super().format_help(ctx, formatter)
            self._lists = False

    return LateGroup
