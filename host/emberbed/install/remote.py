"""A controller board at its prompt, reached through mpremote, MicroPython's own tool.

Each call is one process of it; nothing of it stays open in between. A board that does not answer,
or stops in the middle, is an InstallError.
"""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from emberbed.install.failure import InstallError

CALL_S = 20.0
LOOK_S = 5.0
SLOWEST_BYTES_PER_S = 1000  # with the tool's hand-shakes, over 115200 baud and a slow flash
MARK = "emberbed:"  # before the line of an answer: boards may print other things
NO_PROMPT = "could not enter raw repl"


class NoPromptError(InstallError):
    """Whatever is at the port did not show MicroPython's prompt."""


class Remote:
    """The board at one port."""

    def __init__(self, port: str) -> None:
        self.port = port

    def ask(self, script: str, longest_s: float = CALL_S, **given: object) -> Any:
        """Run a script on the board; its `answer` comes back as JSON holds it.

        `given` become the script's names, as JSON holds them too.
        """
        heading = "".join(f"{name} = {value!r}\n" for name, value in given.items())
        ending = f"\nimport json\nprint({MARK!r} + json.dumps(answer))\n"
        said = self._call(["exec", heading + script + ending], longest_s)
        for line in said.splitlines():
            if line.startswith(MARK):
                return json.loads(line.removeprefix(MARK))
        raise InstallError(f"The board at {self.port} gave no answer: restart it, then try again")

    def copy(self, folder: Path, to: str) -> None:
        """Copy a folder with all it holds into a folder of the board."""
        size = sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())
        longest_s = CALL_S + size / SLOWEST_BYTES_PER_S
        try:
            self._call(["fs", "cp", "-r", "-f", str(folder), f":{to}/"], longest_s)
        except NoPromptError:
            raise InstallError(
                f"The board at {self.port} fell silent while files were copied: check its cable and"
                " its supply, restart it, then try again; what ran before still runs"
            ) from None

    def copy_file(self, source: Path, to: str) -> None:
        self._call(["fs", "cp", "-f", str(source), f":{to}"], CALL_S)

    def leave_running(self, script: str) -> None:
        """Start a script that goes on by itself: the board's line is its own from then on."""
        self._call(["exec", "--no-follow", script], CALL_S)

    def reset(self) -> None:
        """Restart the board as its reset pin would."""
        self._call(["reset"], CALL_S)

    def _call(self, words: list[str], longest_s: float) -> str:
        command = [sys.executable, "-m", "mpremote", "connect", self.port, "resume", *words]
        try:
            done = subprocess.run(
                command, capture_output=True, text=True, timeout=longest_s, errors="replace"
            )
        except subprocess.TimeoutExpired:
            raise NoPromptError(self._silent()) from None
        if done.returncode == 0:
            return done.stdout
        raise self._failure((done.stderr + done.stdout).strip())

    def _failure(self, complaint: str) -> InstallError:
        last = complaint.splitlines()[-1].strip() if complaint else "it ended without a word"
        if "No module named mpremote" in complaint:
            return InstallError(
                "mpremote, which copies to boards, is not installed here: run"
                " 'pip install mpremote', then try again"
            )
        if "in use" in last or "no device found" in complaint or "failed to access" in last:
            return InstallError(
                f"{self.port} cannot be opened ({last.removeprefix('mpremote: ')}): plug the board"
                " in, close other programs that use it, then try again"
            )
        if NO_PROMPT in complaint:
            return NoPromptError(self._silent())
        if "ENOSPC" in complaint or "Errno 28" in complaint:
            return InstallError(
                f"The board at {self.port} has no room left: remove files of other programs from"
                " it, then install again; what ran before still runs"
            )
        return InstallError(
            f"The board at {self.port} broke off ({last}): check the cable, restart the board, then"
            " try again; what ran before still runs"
        )

    def _silent(self) -> str:
        return (
            f"What is at {self.port} shows no MicroPython prompt: put MicroPython on the board"
            " first, or name the right port"
        )
