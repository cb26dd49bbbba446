"""What a device does between ticks while it rests: keep new settings, go to service, confirm.

Only in IDLE or SERVICE, and only while both switches are open (for service also when a person says
that the plug is pulled): flash stalls a controller. One piece of flash in a turn; the watchdog is
fed by the turn before and the turn after. Serves hazard H04.
"""

from emberbed_fw import run_states as rs
from emberbed_fw.settings_store import store_settings

CONFIRM_TICKS = 100  # whole ticks after which a new version has shown that it works
LAST_WORDS_TICKS = 5  # in which the answer to a request leaves before the restart


class Errands:
    """`step` after each turn; True when the port has returned from a restart."""

    def __init__(self, machine, port):
        self._machine = machine
        self._port = port
        self._confirmed = False
        self._kept_at = 0  # tick in which new settings were kept, 0 for none
        self._served_from = 0  # tick in which service was first seen, 0 for none

    def step(self):
        machine = self._machine
        if machine.life.state == rs.SERVICE:
            open_now = machine.switches_open() or machine.unplugged and machine.drives_nothing()
            return self._serve() if open_now else False
        if machine.life.state != rs.IDLE or not machine.switches_open():
            return False
        if machine.settings_to_keep is not None:
            block = machine.settings_to_keep
            machine.settings_to_keep = None
            if store_settings(self._port, block):
                self._kept_at = machine.tick
        elif self._kept_at and machine.tick - self._kept_at >= LAST_WORDS_TICKS:
            self._port.restart()
            return True
        elif not self._confirmed and machine.tick >= CONFIRM_TICKS:
            self._confirmed = True
            self._port.confirm()
        return False

    def _serve(self):
        """Leave a note that outlives the reset; where that fails, the device goes on as it was."""
        machine = self._machine
        self._served_from = self._served_from or machine.tick
        if machine.tick - self._served_from < LAST_WORDS_TICKS:
            return False
        try:
            self._port.note_service()
        except OSError:
            machine.life.happen(rs.FROM_SERVICE)
            self._served_from = 0
            return False
        self._port.restart()
        return True
