"""The processes under a command: found and watched with POSIX `ps`, so not on Windows."""

import subprocess
import sys
import time

from tests.support.parts import need


def need_posix(reason: str) -> None:
    need("a POSIX system", sys.platform != "win32", reason)


def children_of(parent: int) -> list[int]:
    """Return the numbers of the running children of a process."""
    table = subprocess.run(
        ["ps", "-A", "-o", "pid=,ppid=,stat="], capture_output=True, text=True, check=True
    )
    rows = [line.split() for line in table.stdout.splitlines()]
    return [
        int(row[0])
        for row in rows
        if len(row) > 2 and int(row[1]) == parent and not row[2].startswith("Z")
    ]


def family_of(host: int) -> tuple[int, int]:
    """Return (virtual device, interpreter) of a running command."""
    (device,) = children_of(host)
    (interpreter,) = children_of(device)
    return device, interpreter


def gone(process: int, longest_s: float = 10.0) -> bool:
    """Wait for a process to end; tell whether it did."""
    end_s = time.monotonic() + longest_s
    while time.monotonic() < end_s:
        status = subprocess.run(
            ["ps", "-o", "stat=", "-p", str(process)], capture_output=True, text=True
        ).stdout.strip()
        if not status or status.startswith("Z"):
            return True
        time.sleep(0.05)
    return False
