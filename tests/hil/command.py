"""`emberbed device accept` as a process with a shelf of its own."""

import os
import subprocess
import sys

LONGEST_S = 550.0  # the whole list takes about a minute of two idle cores


def accept(shelf, *words):
    """Run it to its end, its reports below `shelf`."""
    return subprocess.run(
        [sys.executable, "-m", "emberbed.cli", "device", "accept", *words],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=LONGEST_S,
        env={**os.environ, "EMBERBED_STORE": str(shelf / "runs.sqlite")},
        check=False,
    )
