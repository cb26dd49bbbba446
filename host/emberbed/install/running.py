"""Run the tops of the firmware's modules here, to learn the values that they make.

The sources are those that are about to be installed, maybe another version than the host's own:
each call runs them in namespaces of their own. What only a board has (pins, clocks) stands there as
an object that nothing at a module's top may use.
"""

import builtins
import importlib
from types import ModuleType
from typing import Any

from emberbed.firmware_sources import PACKAGE, Sources

Plain = int | str | bytes | tuple["Plain", ...]


def is_plain(value: object) -> bool:
    """Tell whether a value can be written down: integers, texts, bytes, and tuples of them."""
    if isinstance(value, tuple):
        return all(is_plain(part) for part in value)
    return type(value) in (int, str, bytes)


def run_tops(sources: Sources) -> dict[str, dict[str, Any]]:
    """Return each module's names and values, by its dotted name below the package."""
    return _House(sources).run()


class _House:
    def __init__(self, sources: Sources) -> None:
        self._sources = {_dotted(file): text for file, text in sources.items()}
        self._modules: dict[str, ModuleType] = {}

    def run(self) -> dict[str, dict[str, Any]]:
        return {name: vars(self._module(name)) for name in self._sources}

    def _module(self, name: str) -> ModuleType:
        if name not in self._modules:
            module = ModuleType(f"{PACKAGE}.{name}")
            self._modules[name] = module
            if name in self._sources:
                ours = {**vars(builtins), "__import__": self._import}
                vars(module)["__builtins__"] = ours
                exec(compile(self._sources[name], name, "exec"), vars(module))
        return self._modules[name]

    def _import(
        self, name: str, _globals: object = None, _locals: object = None,
        wanted: tuple[str, ...] | None = (), _level: int = 0,
    ) -> ModuleType:  # fmt: skip
        """Stand for `import` as modules of the firmware use it."""
        package, _dot, below = name.partition(".")
        if package != PACKAGE:
            try:
                return importlib.import_module(name)
            except ImportError:
                return self._modules.setdefault(f"a board's {name}", ModuleType(name))
        module = self._module(below)
        for each in wanted or ():
            whole = f"{below}.{each}".lstrip(".")
            if whole in self._sources:
                setattr(module, each, self._module(whole))
        return module


def _dotted(file: str) -> str:
    return file.removesuffix(".py").removesuffix("__init__").rstrip("/").replace("/", ".")
