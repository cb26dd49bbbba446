"""The virtual device as the host sees it: a process that is started, and a port to reach it by.

Everything but hands goes over the port, as with a real device. What hands do at the bench (button,
hot air, boards, beads) goes through the process's standard input, which no real device has.
"""

import json
import subprocess
import sys
import tempfile
import threading
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Protocol

START_S = 20.0
END_S = 5.0
WHY_S = 0.3  # in which a process that has broken its link has ended too, if it ends
PRESS_S = 1.5
PLANTS = ("lumped", "grid", "two-zones")  # as the virtual device knows them; a test compares
MICROPYTHON = "MicroPython"  # as the virtual device names the interpreter of real devices
FELL_BACK = (
    "MicroPython is not installed here, so the virtual device runs the same firmware in {engine}"
)


class Startable(Protocol):
    """A device that is a process here."""

    @property
    def engine(self) -> str: ...
    @property
    def module(self) -> str: ...
    def arguments(self) -> list[str]: ...


class VirtualDeviceError(RuntimeError):
    """The virtual device did not start; one sentence."""


@dataclass(frozen=True)
class VirtualBench:
    """What is simulated. `speed`: 1 is real time, 'max' as fast as the host stores."""

    speed: str = "1"
    seed: int = 1
    faults: tuple[str, ...] = ()
    engine: str = "auto"
    mass_g: float = 240.0
    length_mm: float = 180.0
    width_mm: float = 120.0
    sensors: tuple[str, ...] = ()  # NAME:PLACE by channel; none: the usual ones
    plant: str = PLANTS[0]  # or another of them: the board in two dimensions
    emitters: str = ""  # on a grid: what each of a row gives of its power, such as 1,0.7,1
    module: str = "emberbed_sim.virtual_device"  # the process

    def with_board(self, mass_g: float, length_mm: float, width_mm: float) -> "VirtualBench":
        """Return the same bench with this board on it."""
        return replace(self, mass_g=mass_g, length_mm=length_mm, width_mm=width_mm)

    def arguments(self) -> list[str]:
        """Return the command line of the virtual device's process."""
        given = [
            "--speed", self.speed, "--seed", str(self.seed), "--engine", self.engine,
            "--mass-g", str(self.mass_g), "--length-mm", str(self.length_mm),
            "--width-mm", str(self.width_mm), "--plant", self.plant, f"--emitters={self.emitters}",
        ]  # fmt: skip
        given += [f"--sensor={sensor}" for sensor in self.sensors]
        return given + [f"--fault={fault}" for fault in self.faults]  # it may begin with a dash


def engine_notes(asked: str, running: str) -> list[str]:
    """Return what a person should know of the interpreter they got instead of the real one."""
    fell_back = asked == "auto" and running != MICROPYTHON
    return [FELL_BACK.format(engine=running)] if fell_back else []


class VirtualDevice:
    """A running virtual device; close it, or leave its `with`."""

    def __init__(self, bench: Startable) -> None:
        command = [sys.executable, "-m", bench.module, *bench.arguments()]
        # a file, as a full pipe would block the process
        self._complaints = tempfile.TemporaryFile()  # noqa: SIM115  (close() does)
        try:
            self._process = subprocess.Popen(
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._complaints,
                text=True,
                # Ctrl-C in the terminal is for the host alone: the device must live on and cool
                start_new_session=sys.platform != "win32",
                creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0),
            )
        except OSError as error:
            self._complaints.close()
            raise VirtualDeviceError(
                f"The virtual device cannot be started ({error.strerror}): end other programs, then"
                " try again"
            ) from error
        try:
            ready = self._first_line()
        except BaseException:
            self.close()
            raise
        self.url: str = ready["url"]
        self.engine: str = ready["engine"]
        self.firmware_digest: str = ready["firmware_digest"]
        self.notes = engine_notes(bench.engine, self.engine)

    def __enter__(self) -> "VirtualDevice":
        return self

    def __exit__(self, *_error: object) -> None:
        self.close()

    def hold_button(self, seconds: float = PRESS_S) -> None:
        """Hold the device's button down for some simulated seconds."""
        self.tell(f"hold {seconds}")

    def tap_button(self) -> None:
        self.tell("tap")

    def blow(self, on: bool) -> None:
        """Bring the hot-air tool over the chip, or take it away."""
        self.tell("air on" if on else "air off")

    def change_board(self) -> None:
        """Put a cold board in place of the one there."""
        self.tell("board")

    def finger(self, channel: int, seconds: float) -> None:
        """Lay a warm finger on a channel's bead for some simulated seconds."""
        self.tell(f"finger {channel} {seconds}")

    def lift(self, channel: int) -> None:
        """Lift a channel's bead off the board."""
        self.tell(f"lift {channel}")

    def press_down(self, channel: int) -> None:
        """Press a channel's bead down again."""
        self.tell(f"press {channel}")

    def unplug(self, channel: int, seconds: float) -> None:
        """Pull a channel's thermocouple out of its converter for some simulated seconds."""
        self.tell(f"unplug {channel} {seconds}")

    def place(self, channel: int, x_mm: float, y_mm: float) -> None:
        """Set a channel's bead down on another spot, counted from the board's middle; on a grid."""
        self.tell(f"place {channel} {x_mm} {y_mm}")

    def dip(self, channel: int, bath: str) -> None:
        """Put a channel's bead into a bath, as the control channel names it: 'ice', 'boiling 99.0'
        (kPa), 'freezing 183' or 'block 200' (°C), 'none' for back to its place."""
        self.tell(f"bath {channel} {bath}")

    def misread(self, channel: int, offset_k: float, gain: float) -> None:
        """Give a channel a couple that reads wrong: times `gain`, plus an offset in K."""
        self.tell(f"wrong {channel} {offset_k} {gain}")

    def close(self) -> None:
        """End the device: its heater goes cold with it."""
        if self._process.stdin and not self._process.stdin.closed:
            with suppress(OSError):  # it ended first
                self._process.stdin.close()
        try:
            self._process.wait(timeout=END_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        if self._process.stdout:
            self._process.stdout.close()
        self._complaints.close()

    def why_ended(self) -> str | None:
        """Return why the process ended by itself, in one sentence; None while it still runs."""
        try:
            self._process.wait(timeout=WHY_S)
        except subprocess.TimeoutExpired:
            return None
        assert self._process.stdout
        told = self._process.stdout.read().strip()
        try:
            reason = json.loads(told)["error"]
        except (ValueError, KeyError, TypeError):
            reason = self._last_complaint() or f"exit code {self._process.returncode}"
        return f"The virtual device ended by itself: {reason}"

    def tell(self, line: str) -> None:
        """Say a line to the process, as its control channel understands it."""
        assert self._process.stdin
        with suppress(OSError):  # the link will tell that the device is gone
            self._process.stdin.write(line + "\n")
            self._process.stdin.flush()

    def _first_line(self) -> dict[str, str]:
        assert self._process.stdout
        watchdog = threading.Timer(START_S, self._process.kill)
        watchdog.start()
        try:
            line = self._process.stdout.readline()
        finally:
            watchdog.cancel()
        try:
            ready = json.loads(line)
        except ValueError as error:
            raise VirtualDeviceError(self._not_started()) from error
        if "error" in ready:
            raise VirtualDeviceError(ready["error"])
        return ready

    def _not_started(self) -> str:
        with suppress(subprocess.TimeoutExpired):
            self._process.wait(timeout=END_S)
        said = self._last_complaint()
        return (
            f"The virtual device did not start{f' ({said})' if said else ''}: try again, and if it"
            " stays so, reinstall emberbed"
        )

    def _last_complaint(self) -> str:
        """Return the last line that the process wrote to standard error."""
        self._complaints.seek(0)
        lines = self._complaints.read().decode(errors="replace").splitlines()
        return next((line.strip() for line in reversed(lines) if line.strip()), "")
