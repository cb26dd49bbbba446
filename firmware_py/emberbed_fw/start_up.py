"""What a controller board does at power-up: service, the new version, or the one before.

Two versions of the firmware lie side by side below ROOT, each with a manifest that was written
last; a marker names the one that counts. Every version is checked against its manifest before it
runs. One that is new has to give the known answer, and to confirm itself within MOST_STARTS starts;
else the one before counts again. Without a whole version nothing runs, and no pin is ever set.
This file stands alone: a copy of it lies outside both versions, as main.py's only import. Files
are replaced by renaming; where a file system cannot rename onto a file, the new name counts as long
as the old one is missing. Serves hazards H04 and H08.
"""

import gc
import os
import sys
from binascii import crc32, hexlify, unhexlify
from hashlib import sha256

ROOT = "/emberbed"
VERSIONS = ("a", "b")
BY_HAND = "by-hand"  # sources in /lib, as a package tool puts them there: no second version
ALONE = "emberbed_start"  # this file's name outside the versions
NO_BUILD = "00" * 8
MANIFEST = "manifest"
HEADING = "emberbed firmware 1"  # of a manifest; then: build, port, answer, files, end
MARKER = "marker"
SERVICE = "service"
NEW = "new"
KEPT = "kept"
MOST_STARTS = 3
PIECE_BYTES = 512
PORTS = {"rp2": "rp2040", "esp32": "esp32"}  # by sys.platform, where no manifest names one


def start():
    """Run what is to run; return only where nothing may: then the serial line gets its prompt."""
    if take_service_note():
        print("emberbed: in service, nothing heats until the next reset")  # noqa: T201
        return
    version, state, starts = read_marker()
    if state == NEW and starts >= MOST_STARTS:
        print("emberbed: the new version has not confirmed itself, the old one counts")  # noqa: T201
        version, state, starts = other(version), KEPT, 0
        write_marker(version, state, starts)
    if state == NEW:
        write_marker(version, NEW, starts + 1)
    for each in (version, other(version)):
        reason = find_damage(each)
        if reason is None:
            if state == NEW and each != version:
                write_marker(each, KEPT, 0)
            reason = _try(each, state if each == version else KEPT)
        if reason is None:
            return
        print("emberbed: version %s does not run: %s" % (each, reason))  # noqa: T201
    if __name__ != ALONE:
        _run(Installed(BY_HAND))
    print("emberbed: no whole version is installed, nothing runs")  # noqa: T201


def inject():
    """Run the version that `start` runs on injected readings (ports/inject), until the next reset;
    called at the prompt, in service."""
    version = read_marker()[0]
    installed = Installed(version if find_damage(version) is None else other(version))
    sys.path.insert(0, folder(installed.version))
    _module("emberbed_fw.ports.%s_inject" % installed.port_name()).serve(installed)


def _try(version, state):
    """Run a version that is whole; return why it did not run, None when it has."""
    reason = None
    sys.path.insert(0, folder(version))
    try:
        if state == NEW:
            reason = find_wrong_answer(version)
            # what runs is imported anew: the self-test's leavings lie between what would stay
            _unload(version)
            sys.path.insert(0, folder(version))
        if reason is None:
            _run(Installed(version))
    except Exception as error:
        if state != NEW:
            raise
        reason = "%s: %s" % (type(error).__name__, error)
    if reason is not None:
        _unload(version)
    return reason


def _run(installed):
    _port_of(installed).serve(installed)


def _port_of(installed):
    """Return the module of the board's port; importing it touches no pin."""
    return _module("emberbed_fw.ports." + installed.port_name())


def _module(name):
    __import__(name)
    return sys.modules[name]


def _unload(version):
    """Take what was imported from a version out of the way of the other one."""
    sys.path.remove(folder(version))
    for name in list(sys.modules):
        if name.split(".")[0] == "emberbed_fw":
            del sys.modules[name]
    gc.collect()


def find_damage(version):
    """Return what is wrong with a version's files in a few words, None for nothing."""
    try:
        _facts, files = read_manifest(version)
        for name, size, digest in files:
            if not _is_whole("%s/%s" % (folder(version), name), size, digest):
                return name + " is damaged"
    except (OSError, ValueError):
        return "it is not whole"
    gc.collect()
    return None


def find_wrong_answer(version):
    """Run the version's self-test; return what is wrong in a few words, None for nothing. Its
    folder must come first in sys.path; a part that is missing is an ImportError."""
    from emberbed_fw.known_answer import known_answer

    _port_of(Installed(version))
    answer = "%08x" % known_answer()
    gc.collect()
    return None if answer == read_manifest(version)[0]["answer"] else "its self-test gave " + answer


def read_manifest(version):
    """Return a version's facts (build, port, answer) and files (name, bytes, SHA-256 in hex).

    Raises OSError or ValueError where there is no whole one.
    """
    with open("%s/%s" % (folder(version), MANIFEST)) as manifest:
        lines = manifest.read().split("\n")
    files = []
    facts = {}
    if lines[0] != HEADING or lines[-2:] != ["end", ""]:
        raise ValueError("manifest")
    for line in lines[1:-2]:
        key, _space, value = line.partition(" ")
        if key == "file":
            digest, size, name = value.split(" ")
            files.append((name, int(size), digest))
        else:
            facts[key] = value
    return facts, files


def _is_whole(path, size, digest):
    sha = sha256()
    piece = bytearray(PIECE_BYTES)
    total = 0
    with open(path, "rb") as source:
        while True:
            count = source.readinto(piece)
            if not count:
                break
            sha.update(memoryview(piece)[:count])
            total += count
    return total == size and hexlify(sha.digest()).decode() == digest


def folder(version):
    return "%s/%s" % (ROOT, version)


def other(version):
    return VERSIONS[1 - VERSIONS.index(version)]


def read_marker():
    """Return (version, NEW or KEPT, starts of a new one); the first version without a good one."""
    for name in (MARKER, MARKER + ".new"):
        try:
            with open("%s/%s" % (ROOT, name)) as marker:
                text, _space, check = marker.read().rpartition(" ")
            version, state, starts = text.split(" ")
            if version in VERSIONS and state in (NEW, KEPT) and check == _check(text):
                return version, state, int(starts)
        except (OSError, ValueError):
            pass
    return VERSIONS[0], KEPT, 0


def write_marker(version, state, starts):
    """Let this version count from the next start on."""
    text = "%s %s %d" % (version, state, starts)
    replace_file("%s/%s" % (ROOT, MARKER), ("%s %s" % (text, _check(text))).encode())


def _check(text):
    return "%08x" % (crc32(text.encode()) & 0xFFFFFFFF)


def replace_file(path, octets):
    """Put `octets` in place of a file: before and after, and in between, one of both is whole."""
    with open(path + ".new", "wb") as target:
        target.write(octets)
    try:
        os.rename(path + ".new", path)
    except OSError:  # no renaming onto a file here
        os.remove(path)
        os.rename(path + ".new", path)


def note_service():
    """Let the next start be one for service."""
    replace_file("%s/%s" % (ROOT, SERVICE), b"1")


def take_service_note():
    """Tell whether this start is for service; the one after it is not."""
    try:
        os.remove("%s/%s" % (ROOT, SERVICE))
    except OSError:
        return False
    return True


class Installed:
    """What a board's port gets to know of the version it belongs to, and leaves for later."""

    def __init__(self, version):
        self.version = version
        self._facts = {} if version == BY_HAND else read_manifest(version)[0]

    def port_name(self):
        return self._facts.get("port") or PORTS[sys.platform]

    def build_id(self):
        return unhexlify(self._facts.get("build", NO_BUILD))

    def read(self, name):
        """Return a file that lies beside the version, empty for none."""
        try:
            with open("%s/%s" % (folder(self.version), name), "rb") as source:
                return source.read()
        except OSError:
            return b""

    def settings_block(self):
        return self.read("device")

    def wiring(self):
        return self.read("wiring")

    def read_slot(self, slot):
        return self.read("settings%d" % slot)

    def write_slot(self, slot, octets):
        with open("%s/settings%d" % (folder(self.version), slot), "wb") as target:
            target.write(octets)

    def read_plan(self):
        return self.read("plan")

    def write_plan(self, octets):
        replace_file("%s/plan" % folder(self.version), octets)

    def note_service(self):
        note_service()

    def confirm(self):
        """Let a new version count for good; the one before stays where it is."""
        version, state, _starts = read_marker()
        if version == self.version and state == NEW:
            write_marker(version, KEPT, 0)
