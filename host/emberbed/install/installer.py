"""Install the firmware on a controller board, or go back to the version before.

One way through, whatever the board holds: service, a look, the new version beside the old one, its
proof, the marker, a restart, and the new version's own word that it runs.
"""

from collections.abc import Callable
from dataclasses import dataclass

from emberbed.firmware_sources import Sources
from emberbed.install.board import Board
from emberbed.install.failure import InstallError
from emberbed.install.into_service import PROMPT_S, ask_for_service, greeting_of, prompt_of
from emberbed.install.onto_board import copy_version, prove, set_start, switch_to
from emberbed.install.remote import Remote
from emberbed.install.version import Version, build_version
from emberbed.link.events import Greeting
from emberbed_fw import start_up
from emberbed_fw.ports.wiring import BOARDS, Wiring, find_wiring_fault

FRESH_PROMPT_S = 0.0
FAMILIES = {kind: "rp2" if kind.startswith("rp2") else "esp32" for kind in BOARDS}

Tell = Callable[[str], None]


@dataclass(frozen=True)
class Wanted:
    """What is to be installed. `block` b'': keep the description that the board has."""

    sources: Sources
    block: bytes = b""
    wiring: bytes = b""
    take_over: bool = False  # a board that runs another program
    unplugged: bool = False  # a person has pulled the heater's mains plug


@dataclass(frozen=True)
class Done:
    """What came of it: the board as it was, and the device as it answered afterwards."""

    board: Board
    greeting: Greeting
    build: bytes

    @property
    def runs_the_new_one(self) -> bool:
        return self.greeting.build_id == self.build

    def sentence(self, port: str) -> str:
        """Return what runs now, and what a person has to know of it."""
        firmware = f"firmware {self.greeting.firmware} ({self.greeting.build_id.hex()})"
        if self.runs_the_new_one:
            return (
                f"The board at {port} runs {firmware}. It counts for good once it has run for"
                " 10 s; 'emberbed device install PORT --back' goes back."
            )
        return (
            f"The board at {port} did not keep the new version and runs {firmware} again: install"
            " once more, and if that repeats itself, say so with both fingerprints"
        )


def install(port: str, wanted: Wanted, tell: Tell) -> Done:
    """Install; InstallError or Refused say what stood in the way, and the board stays as it was."""
    remote = Remote(port)
    tell("Asking the device for service")
    running = ask_for_service(port, wanted.unplugged)
    board = prompt_of(remote, FRESH_PROMPT_S if running is None else PROMPT_S)
    try:
        version = _version_for(board, wanted)
        tell(f"Copying {len(version.files)} files beside what runs now")
        copy_version(remote, board, version)
        tell("Checking every file on the board, and its self-test")
        prove(remote, board)
        set_start(remote, board)
        switch_to(remote, board.free_version, start_up.NEW)
    except InstallError:
        _restart_as_before(remote)
        raise
    return _restarted(remote, board, version.build, tell)


def go_back(port: str, tell: Tell, unplugged: bool = False) -> Done:
    """Let the version before count again."""
    remote = Remote(port)
    tell("Asking the device for service")
    running = ask_for_service(port, unplugged)
    board = prompt_of(remote, FRESH_PROMPT_S if running is None else PROMPT_S)
    before = board.free_version
    try:
        if not board.manifest[before]:
            raise InstallError(
                f"There is no version before on the board at {port}: install one with"
                f" 'emberbed device install {port}'"
            )
        switch_to(remote, before, start_up.KEPT)
    except InstallError:
        _restart_as_before(remote)
        raise
    return _restarted(remote, board, build_in(board.manifest[before]), tell)


def compile_for(wanted: Wanted) -> tuple[str, Version]:
    """Return the kind of board that a description is for, and what one would get; no port."""
    kind = Wiring(wanted.wiring).board
    port_name = start_up.PORTS[FAMILIES[kind]]
    return kind, build_version(wanted.sources, "", port_name, wanted.block, wanted.wiring)


def build_in(manifest: bytes) -> bytes:
    """Return the fingerprint that a manifest names."""
    for line in manifest.decode("ascii", "replace").splitlines():
        if line.startswith("build "):
            return bytes.fromhex(line.removeprefix("build "))
    return b""


def _version_for(board: Board, wanted: Wanted) -> Version:
    """Compile what this board is to get."""
    port_name = _port_for(board)
    if board.runs_another_program and not wanted.take_over:
        raise InstallError(
            f"The board at {board.port} runs another program (its main.py): add --take-over to put"
            " it aside, or name the right port"
        )
    block = wanted.block or board.settings_block()
    if not block:
        raise InstallError(
            f"The board at {board.port} holds no device description that this firmware reads: give"
            " one with --description FILE"
        )
    wiring = wanted.wiring if wanted.block else board.wiring()
    _refuse_wrong_wiring(board, wiring, port_name)
    return build_version(wanted.sources, board.architecture, port_name, block, wiring)


def _port_for(board: Board) -> str:
    if board.platform not in start_up.PORTS:
        raise InstallError(
            f"The board at {board.port} is of a kind ({board.platform}: {board.machine}) that the"
            f" firmware has no pins for: take one with {' or '.join(sorted(start_up.PORTS))}"
        )
    return start_up.PORTS[board.platform]


def _refuse_wrong_wiring(board: Board, wiring: bytes, port_name: str) -> None:
    """Refuse pins that are those of another board: nothing would be where it is said to be."""
    fault = find_wiring_fault(wiring)
    if fault is not None:
        raise InstallError(
            f"The table of pins for the board at {board.port} is not good ({fault}): give the"
            " device description again with --description FILE"
        )
    kind = Wiring(wiring).board
    if start_up.PORTS[FAMILIES[kind]] != port_name:
        raise InstallError(
            f"The device description is for {kind}, the board at {board.port} is {board.machine}"
            f" ({board.platform}): name the right port, or mend 'board' in the description"
        )


def _restart_as_before(remote: Remote) -> None:
    """Let the board run what it ran before; where even that fails, a person has been told."""
    try:
        remote.reset()
    except InstallError:
        return


def _restarted(remote: Remote, board: Board, build: bytes, tell: Tell) -> Done:
    tell("Restarting it")
    remote.reset()
    return Done(board, greeting_of(remote.port), build)
