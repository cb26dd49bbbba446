"""The page's desk: at most one run at a time, in a thread of its own, by the machinery of `run`.

States: idle, starting (checked, sent, armed), on, over (with how it ended), failed (with
sentences). The thread owns the serial port and its own connection to the store. Heat starts at the
device's button, never from here.
"""

import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import Console

from emberbed.bench.prepare import NotReady, load_profile
from emberbed.bench.requests import ALONE
from emberbed.bench.resume import resume_run
from emberbed.bench.session import RecordFailed, RunRequest, RunResult, run_profile
from emberbed.bench.virtual import VirtualBench, VirtualDeviceError
from emberbed.jobs.from_run import JobWish
from emberbed.jobs.plain_entries import folded
from emberbed.link.device import Refused
from emberbed.link.transport import LinkError
from emberbed.page.device_look import DeviceLook
from emberbed.page.feed import Feed
from emberbed.page.seat import PageSeat
from emberbed.profiles.reader import ProfileFile
from emberbed.store.faults import StoreError
from emberbed.store.run_store import RunStore

if TYPE_CHECKING:
    from emberbed.learn.identified import Identified

BUSY = ("starting", "on")
Run = Callable[[RunRequest, RunStore, Console], RunResult]
RUN_IS_ON = "A run is on already: stop it, or wait for its end."


@dataclass(frozen=True)
class Bench:
    """What this page works at: a device (a bench to simulate, or a port), a store, a heater."""

    device: str
    virtual: VirtualBench | None
    store: Path | None
    heater: "Identified | None" = None


class _Seat(PageSeat):
    """Tells the desk that the run has begun."""

    def __init__(self, feed: Feed, on_begun: Callable[[], None]) -> None:
        super().__init__(feed)
        self._on_begun = on_begun

    def begins(self, begun) -> None:
        super().begins(begun)
        self._on_begun()


class RunDesk:
    """`console` takes the run's plain lines, for whoever looks at the terminal."""

    def __init__(self, bench: Bench, feed: Feed, console: Console) -> None:
        self.bench = bench
        self._feed = feed
        self._console = console
        self.seat = _Seat(feed, lambda: self._put("on"))
        self.look = DeviceLook(feed, bench.device, bench.virtual)
        self._thread: threading.Thread | None = None
        self._lock = threading.Lock()
        self._resumes = False

    def busy(self) -> bool:
        return self._feed.desk()["state"] in BUSY

    def start(
        self,
        profile: str,
        board: str,
        said: tuple[tuple[str, str], ...],
        begun_by: dict[str, Any],
    ) -> None:
        """Load a profile into the device and wait for the press there; `board` is the type that
        the person named, or the profile's name. Raises NotReady."""
        profile_file = load_profile(profile)
        named = folded(board) != folded(profile_file.model.name)
        request = self._request(profile_file, self._virtual(profile_file), said)
        request = replace(request, job=JobWish(board=board) if named else None)
        self._begin(request, run_profile, begun_by)

    def resume(self) -> None:
        """Take over the run that the device is in and that nobody records. Raises NotReady."""
        self._begin(self._request(None, None), resume_run, {}, resumes=True)

    def _begin(
        self, request: RunRequest, run: Run, begun_by: dict[str, Any], *, resumes: bool = False
    ) -> None:
        with self._lock:
            if self.busy():
                raise NotReady([RUN_IS_ON])
            self.seat.begun_by = begun_by
            self._resumes = resumes
            self._put("starting")
        self.look.end()  # one port, one owner
        self._thread = threading.Thread(
            target=self._run, args=(request, run), name="run", daemon=True
        )
        self._thread.start()

    def look_at_device(self) -> None:
        """Show the device's readings while no run is on. Raises NotReady."""
        with self._lock:
            if self.busy():
                raise NotReady([RUN_IS_ON])
            self.look.begin()

    def clear(self) -> None:
        """Put away how the last run ended."""
        if not self.busy():
            self._feed.begin({}, [])
            self._put("idle")

    def gone(self) -> None:
        """A run of the terminal has ended, which tells there how."""
        self.seat.ended()
        self._put("over", ended_as="elsewhere", limits_exceeded=None, sentences=[])

    def wait(self, longest_s: float | None = None) -> None:
        """Wait for the end of the run's thread."""
        if self._thread is not None:
            self._thread.join(longest_s)

    def _request(
        self,
        asked: ProfileFile | None,
        virtual: VirtualBench | None,
        said: tuple[tuple[str, str], ...] = (),
    ) -> RunRequest:
        return RunRequest(
            asked,
            self.bench.device,
            virtual,
            scripted=False,
            page=None,
            quiet=True,
            heater=self.bench.heater,
            watcher=self.seat,
            at_keyboard=False,
            said=said,
        )

    def _run(self, request: RunRequest, run: Run) -> None:
        try:
            with RunStore.open(self.bench.store) as store:
                if not self._resumes:
                    store.mark_interrupted(self.bench.device)
                self._over(run(request, store, self._console))
        except NotReady as not_ready:
            self._failed(not_ready.sentences)
        except (LinkError, Refused, StoreError, VirtualDeviceError, RecordFailed) as error:
            self._failed([str(error)])
        except Exception as error:
            self._failed([f"The page's program met a fault of its own ({error!r}). {ALONE}"])
            raise

    def _virtual(self, profile_file: ProfileFile) -> VirtualBench | None:
        board, virtual = profile_file.model.board, self.bench.virtual
        if virtual is None or board is None:
            return virtual
        return replace(virtual, **board.model_dump())

    def _over(self, result: RunResult) -> None:
        self.seat.ended()
        self._put(
            "over",
            run_id=result.run_id,
            ended_as=result.outcome.state,
            limits_exceeded=result.limits_exceeded,
            sentences=result.ending,
            page_failed=result.page_failed,
        )

    def _failed(self, sentences: list[str]) -> None:
        """It did not begin, or its record breaks off: `broke_off`."""
        broke_off = self._feed.desk()["state"] == "on"
        self.seat.ended()
        self._put("failed", sentences=sentences, broke_off=broke_off)

    def _put(self, state: str, **more: Any) -> None:
        self._feed.put_desk(state=state, resumes=self._resumes, **more)
