"""Runs pieces of a campaign in PyPy, which traces what runs often and makes machine code of it.

Started by `traced.py` as a program with the folders of the firmware and of the simulation; nothing
else can be imported from them, and nothing is written. Takes (name, argument) on standard input and
gives (True, result) or (False, why) on standard output, each pickled behind its length in 4 bytes.
The same sources run as in CPython; where an older Python lacks what they use, it is made good here.
This file alone must be readable by the oldest PyPy that may be found, of Python 3.9.
"""

import __future__

import builtins
import importlib.machinery
import importlib.util
import os
import pickle
import struct
import sys
import time
import traceback

PACKAGES = ("emberbed_fw", "emberbed_sim")
HEAD = struct.Struct("<I")


class _Loader(importlib.machinery.SourceFileLoader):
    """Reads a source with its annotations left alone: older Pythons cannot work them out."""

    def source_to_code(self, data, path, *, _optimization=-1):
        flags = __future__.annotations.compiler_flag
        return compile(data, path, "exec", flags, True, _optimization)


class _Finder:
    """Finds the two packages in their folders, and nothing else there."""

    def __init__(self, folders):
        self._folders = dict(zip(PACKAGES, folders))  # noqa: B905  (3.9)

    def find_spec(self, name, _path=None, _target=None):
        package, *rest = name.split(".")
        if package not in self._folders:
            return None
        place = os.path.join(self._folders[package], *rest)
        is_package = os.path.isdir(place)
        source = os.path.join(place, "__init__.py") if is_package else place + ".py"
        return importlib.util.spec_from_file_location(
            name,
            source,
            loader=_Loader(name, source),
            submodule_search_locations=[place] if is_package else None,
        )


def _make_good():
    """Give this interpreter what the sources use and it lacks."""
    packed = struct.pack_into

    def pack_into(form, buffer, at, *values):
        """As CPython has it: a bytearray is as good as bytes."""
        packed(form, buffer, at, *[bytes(v) if type(v) is bytearray else v for v in values])

    struct.pack_into = pack_into
    if sys.version_info >= (3, 10):  # noqa: UP036  (it need not be ours)
        return
    paired = builtins.zip
    # whether both are as long is left to CPython to object to
    builtins.zip = lambda *iterables, strict=False: paired(*iterables)


def _does():
    """Return what can be asked for, by name."""
    from emberbed_sim.campaign import same_bits, setups, what_ifs, work

    return {
        "give": setups.give,
        "run": work.run_task,
        "digest": same_bits.digest_of,
        "what_ifs": lambda asked: what_ifs.run_cases(*asked),
        "cpu_s": lambda _nothing: time.process_time(),
    }


def _said():
    python = ".".join(map(str, sys.version_info[:2]))
    pypy = ".".join(map(str, getattr(sys, "pypy_version_info", ())[:3]))
    return "PyPy {} (Python {})".format(pypy, python)  # noqa: UP032  (its words come first)


def _put(stream, answer):
    octets = pickle.dumps(answer, protocol=4)
    stream.write(HEAD.pack(len(octets)) + octets)
    stream.flush()


def serve(folders):
    """Say who is there, then answer until standard input ends."""
    asked, told = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever prints must not come between
    _make_good()
    sys.meta_path.insert(0, _Finder(folders))
    does = _does()
    _put(told, (True, _said()))
    while True:
        head = asked.read(HEAD.size)
        if len(head) < HEAD.size:
            return
        name, argument = pickle.loads(asked.read(HEAD.unpack(head)[0]))
        try:
            _put(told, (True, does[name](argument)))
        except Exception:
            _put(told, (False, traceback.format_exc().strip().splitlines()[-1]))


if __name__ == "__main__":
    serve(sys.argv[1:])
