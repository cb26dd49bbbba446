"""What the firmware asks of a device port; each file in ports/ gives these and nothing more.

A port owns the clock, the converters' bus, the output pins and the wire. It decides nothing.

settings_block()      the device description it was installed with, as bytes (settings.py)
read_slot(n)          slot 0 or 1 of those written since (settings_store.py), empty for none
write_slot(n, octets) erase and write one; only while nothing heats
read_plan()           the plan written last, empty for none
write_plan(octets)    erase and write it; only while nothing heats
nonce()               a number of at most 30 bits, different after each reset
build_id()            8 bytes that name the firmware's sources
identity()            which entry this is (messages.ENTRY_*), and the board's own number, 8 bytes
wait()                until the next tick or more bytes on the wire; TICK, WIRE or END
sample(inputs)        fill elapsed_ms, port_flags, fresh_channels, words
drive(zones, outputs) set the pins at once
note_service()        leave a note for the next start: neither watchdog nor loop (start_up.py)
confirm()             note that this version of the firmware works
restart()             reset the controller; a port that cannot comes back, and the loop starts anew
feed()                the watchdog, after a turn of which every step has run in its order
keep(code)            a trip's code, where a reset does not reach it
kept()                the code that was kept when this start began, 0 for none
reset_cause()         why the controller started, RESET_*
screen                where the panel's lines are shown (ports/screen.py), None for nowhere
all_off()             the safe outputs, callable at any moment
received, count       bytes from the wire since the last wait
send(octets, count)   put bytes on the wire; bounded, may drop, never blocks a tick
turn(owed)            end of a turn: `owed` records are not acknowledged
"""

TICK = 0
WIRE = 1
END = 2

RESET_POWER = 0  # or a reset that the controller cannot tell from it
RESET_WATCHDOG = 1
RESET_COMMANDED = 2
