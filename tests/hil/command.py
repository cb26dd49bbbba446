"""`emberbed device accept` as a process with a shelf of its own."""

import os
import subprocess
import sys

COMMAND = [sys.executable, "-m", "emberbed.cli", "device", "accept"]
LONGEST_S = 550.0  # the whole list takes about a minute of two idle cores


def accept(shelf, *words):
    """Run it to its end, its reports below `shelf`."""
    return subprocess.run(
        [*COMMAND, *words],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
        env=environment(shelf),
        check=False,
    )


def environment(shelf):
    """Return the command's environment, its reports below `shelf`."""
    return {**os.environ, "EMBERBED_STORE": str(shelf / "runs.sqlite")}
