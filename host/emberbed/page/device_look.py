"""A look at the device while no run is on: what it says of itself, and its readings as they come.

Owns the port for as long as somebody looks, in a thread of its own; nothing is armed or changed,
and a device that heats is not answered for. Ends by itself after ten minutes, or when a run begins.
"""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from typing import Any

from emberbed.bench.prepare import NotReady, read_description
from emberbed.bench.virtual import VirtualBench, VirtualDevice, VirtualDeviceError
from emberbed.device_description import DeviceDescription
from emberbed.install.self_test import self_test
from emberbed.install.settings_lines import settings_lines
from emberbed.link.device import Device, Refused
from emberbed.link.events import Record
from emberbed.link.transport import LinkError
from emberbed.page.feed import Feed
from emberbed.records import TickRecord, decode_record
from emberbed.trip_titles import trip_title
from emberbed.words import state_words
from emberbed_fw import run_states as rs

LONGEST_S = 600.0
POLL_S = 0.2
END_S = 10.0
NOT_ANSWERED_FOR = (*rs.HEATING_STATES, rs.COLD_PROOF)
SILENT = "The device has sent no reading for {seconds:.0f} s: check its cable and power."


class DeviceLook:
    """At one device; `begin` and `end` may be called at any time, from any thread."""

    def __init__(self, feed: Feed, url: str, virtual: VirtualBench | None) -> None:
        self._feed = feed
        self._url = url
        self._virtual = None if virtual is None else replace(virtual, speed="1", faults=())
        self._thread: threading.Thread | None = None
        self._ends = threading.Event()
        self._tests = threading.Event()  # a self-test is asked for
        self._tested: dict[str, Any] | None = None
        self._lock = threading.Lock()

    def begin(self) -> None:
        """Look, or go on looking."""
        with self._lock:
            if self._thread is not None and self._thread.is_alive():
                return
            self._ends.clear()
            self._tests.clear()
            self._tested = None
            self._thread = threading.Thread(target=self._look, name="look", daemon=True)
            self._thread.start()

    def test(self) -> None:
        """Let the device that is looked at test itself, at the next reading; nothing heats."""
        self._tests.set()

    def end(self) -> None:
        """Let go of the port; returns when it is free."""
        with self._lock:
            self._ends.set()
            if self._thread is not None:
                self._thread.join(END_S)
            self._feed.put_look(None)

    def _look(self) -> None:
        try:
            with self._device() as device:
                _settings, description = read_description(device)
                about = {"state": "looking", **_about(device, description)}
                self._follow(device, description, about)
        except NotReady as not_ready:
            self._feed.put_look({"state": "failed", "sentences": not_ready.sentences})
        except (LinkError, Refused, VirtualDeviceError) as error:
            self._feed.put_look({"state": "failed", "sentences": [str(error)]})

    @contextmanager
    def _device(self) -> Iterator[Device]:
        if self._virtual is None:
            with Device.connect(self._url) as device:
                yield device
            return
        with VirtualDevice(self._virtual) as virtual, Device.connect(virtual.url) as device:
            yield device

    def _follow(
        self, device: Device, description: DeviceDescription, about: dict[str, Any]
    ) -> None:
        began_s = heard_s = time.monotonic()
        while not self._ends.is_set() and time.monotonic() - began_s < LONGEST_S:
            events = [event for event in device.poll(POLL_S) if isinstance(event, Record)]
            if events:
                heard_s = time.monotonic()
                newest = decode_record(events[-1].raw)
                if newest.state not in NOT_ANSWERED_FOR:
                    device.renew(newest.tick)  # a virtual device's clock waits for it
                if self._tests.is_set():
                    self._tests.clear()
                    self._tested = _self_test(device, description)
                readings = _readings(newest, description)
                self._feed.put_look({**about, **readings, "tested": self._tested})
            elif time.monotonic() - heard_s > END_S:
                raise NotReady([SILENT.format(seconds=time.monotonic() - heard_s)])
        self._feed.put_look({**about, "state": "ended"})


def _about(device: Device, description: DeviceDescription) -> dict[str, Any]:
    greeting = device.greeting
    return {
        "port": device.url,
        "firmware": greeting.firmware,
        "fingerprint": greeting.build_id.hex(),
        "protocol": greeting.protocol,
        "zones": [
            {"number": number, "watts": zone.watts, "dwell_ticks": zone.dwell_ticks}
            for number, zone in enumerate(description.zones)
            if zone.watts
        ],
        "switch_sensed": description.has_contactor_sense,
        "current_sensed": description.has_heat_sense,
        "fan": description.has_fan,
        "cut_out": description.has_cut_out,
        "socket_w": description.socket_watts,
        "settings": settings_lines(description),
    }


def _self_test(device: Device, description: DeviceDescription) -> dict[str, Any]:
    """Return what a self-test found, in sentences; a device that takes none now says why."""
    at = datetime.now().strftime("%H:%M:%S")
    try:
        found = self_test(device, description)
    except Refused as refused:
        return {"at": at, "doubts": [str(refused)], "notes": [], "channels": 0}
    return {
        "at": at,
        "doubts": found.doubts(),
        "notes": found.notes(),
        "channels": len(found.channels),
    }


def _readings(record: TickRecord, description: DeviceDescription) -> dict[str, Any]:
    sensors = []
    for number, name in description.fitted_names().items():
        channel, reading = description.channels[number], record.channel_cdeg(number)
        fault = record.fault(number)
        sensors.append(
            {
                "number": number,
                "name": name,
                "c": None if reading is None else reading / 100,
                "fault": trip_title(fault) if fault else "",
                "converter": channel.converter,
                "ceiling_c": channel.ceiling_cdeg / 100,
                "offset_c": channel.offset_cdeg / 100,
            }
        )
    return {"device_state": state_words(record.state), "sensors": sensors}
