"""Tell whether the process that wrote a run is still there.

A process number alone is reused by the system, so a stamp keeps the computer's name and the start
time too. Where a start time cannot be read, the process counts as alive: never call a run
interrupted while somebody may still be writing it.
"""

import os
import platform
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

UNKNOWN = ""


class ProcessStamp(NamedTuple):
    """Who writes a run: computer, process number, start of the process as the system tells it."""

    node: str
    process_id: int
    started: str


def own_stamp() -> ProcessStamp:
    """Return the stamp of this process."""
    process_id = os.getpid()
    return ProcessStamp(platform.node(), process_id, start_of(process_id) or UNKNOWN)


def is_gone(stamp: ProcessStamp) -> bool:
    """Tell whether the stamped process has surely ended; False when that cannot be known."""
    if stamp.node != platform.node():
        return False
    started = start_of(stamp.process_id)
    if started is None:
        return True
    return UNKNOWN not in (started, stamp.started) and started != stamp.started


def start_of(process_id: int) -> str | None:
    """Return when a process started, UNKNOWN if the system will not say, None if there is none."""
    if sys.platform == "win32":
        return _start_on_windows(process_id)
    if Path("/proc/self/stat").exists():
        return start_from_proc(process_id)
    return start_from_ps(process_id)


def start_from_proc(process_id: int) -> str | None:
    """Read the start from Linux's /proc: the boot and the clock ticks since it."""
    try:
        status = Path(f"/proc/{process_id}/stat").read_text(errors="replace")
    except OSError:
        return None
    fields = status.rpartition(")")[2].split()  # the program's name may hold anything but is in ()
    if fields[0] in "ZX":  # ended, only not yet collected by its parent
        return None
    try:
        boot = Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    except OSError:
        boot = "this boot"
    return f"{boot} {fields[19]}"


def start_from_ps(process_id: int) -> str | None:
    """Ask POSIX ps for the start; used where there is no /proc, as on macOS."""
    command = ["ps", "-o", "stat=", "-o", "lstart=", "-p", str(process_id)]
    try:
        answer = subprocess.run(
            command, capture_output=True, text=True, env={**os.environ, "LC_ALL": "C"}, timeout=10
        )
    except (OSError, subprocess.TimeoutExpired):
        return UNKNOWN
    status, _, started = answer.stdout.strip().partition(" ")
    if not status or status.startswith("Z"):
        return None
    return started.strip()


if sys.platform == "win32":
    import ctypes
    from ctypes import wintypes

    _QUERY_LIMITED_INFORMATION = 0x1000
    _ACCESS_DENIED = 5
    _STILL_ACTIVE = 259

    def _start_on_windows(process_id: int) -> str | None:
        kernel = ctypes.WinDLL("kernel32", use_last_error=True)
        kernel.OpenProcess.restype = wintypes.HANDLE
        handle = kernel.OpenProcess(_QUERY_LIMITED_INFORMATION, False, process_id)
        if not handle:
            return UNKNOWN if ctypes.get_last_error() == _ACCESS_DENIED else None
        handle = wintypes.HANDLE(handle)
        try:
            exit_code = wintypes.DWORD()
            kernel.GetExitCodeProcess(handle, ctypes.byref(exit_code))
            if exit_code.value != _STILL_ACTIVE:
                return None
            created, ended, in_kernel, in_user = (wintypes.FILETIME() for _ in range(4))
            kernel.GetProcessTimes(
                handle, *(ctypes.byref(time) for time in (created, ended, in_kernel, in_user))
            )
            return str((created.dwHighDateTime << 32) | created.dwLowDateTime)
        finally:
            kernel.CloseHandle(handle)
