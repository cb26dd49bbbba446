"""The whole set of messages and their payloads (little-endian, after the header of frames.py).

There is no message that starts heat, presses the button, forces an output or injects a reading.
Host to device: every request is idempotent and answered by one REPLY that names its type and
sequence. Requests marked (tick) are applied at the start of the next tick and recorded as bytes.

HELLO          B host's protocol version, I host nonce (30 bits)
RENEW          I newest tick whose record is committed (tick): renews the PC link, frees the ring
PLAN_WRITE     H offset, bytes; or offset END_OF_BLOCK, H length, H crc low, H crc high (tick)
PLAN_READ      H offset, B count
SETTINGS_WRITE as PLAN_WRITE; in IDLE with both switches open; the device then starts anew with it
SETTINGS_READ  as PLAN_READ
ARM            H H crc of the plan, low and high half, B attendance, B stage to go on with after a
               trip that a person has mended (NONE = a new run), I ticks of it already done (tick)
STOP           B reason (tick); accepted from anybody, in any session and any sequence
ACK_PROMPT     B prompt id, B source (tick)
STAGE_REQUEST  B touch, h amount, B source (tick): a person's change to the running plan
SELFTEST       nothing; answered by SELFTEST_REPLY while nothing heats
SERVICE        B SERVICE_* (tick): the device restarts without its firmware's loop; with
               SERVICE_UNPLUGGED, when a person has pulled the plug, whatever the senses say
FEEDFORWARD    H number of the first of these powers, H FEEDFORWARD_POWERS of them (tick); or H
               END_OF_BLOCK, H powers of the set, H crc low, H crc high, filled up to that length
               (tick): power planned anew for stages not yet begun (feedforward.py)
BACKFILL       I first tick wanted again

REPLY          B request type, H request sequence, B refusal (0 = done), then what was asked for
               (ARM: the trips of this session so far, one byte for each code)
RECORD         one record (record.py)
BACKFILL_BLOCK B 0 and one record, sent again; or a block of packed ticks (block_ring.py)
SNAPSHOT       I tick, B number of this part, B parts, bytes: what the machine remembers after that
               tick (snapshot_parts.py), every 5 minutes and for each host that comes
"""

HELLO = 1
RENEW = 2
PLAN_WRITE = 3
PLAN_READ = 4
SETTINGS_WRITE = 5
SETTINGS_READ = 6
ARM = 7
STOP = 8
ACK_PROMPT = 9
STAGE_REQUEST = 10
FEEDFORWARD = 11
BACKFILL = 12
SELFTEST = 13
SERVICE = 14

REPLY = 65
RECORD = 66
BACKFILL_BLOCK = 67
SNAPSHOT = 68

MESSAGE_NAMES = {
    HELLO: "HELLO", RENEW: "RENEW", PLAN_WRITE: "PLAN_WRITE", PLAN_READ: "PLAN_READ",
    SETTINGS_WRITE: "SETTINGS_WRITE", SETTINGS_READ: "SETTINGS_READ", ARM: "ARM", STOP: "STOP",
    ACK_PROMPT: "ACK_PROMPT", STAGE_REQUEST: "STAGE_REQUEST", FEEDFORWARD: "FEEDFORWARD",
    BACKFILL: "BACKFILL", SELFTEST: "SELFTEST", SERVICE: "SERVICE",
    REPLY: "REPLY", RECORD: "RECORD", BACKFILL_BLOCK: "BACKFILL_BLOCK", SNAPSHOT: "SNAPSHOT",
}

END_OF_BLOCK = 0xFFFF  # the offset that says "that was all, check it"
BLOCK_CHUNK = 192  # most bytes of a plan or settings in one frame
FEEDFORWARD_POWERS = 24  # so many in a part, the last one filled up: one part in a tick

# HELLO's answer: protocol, session, state, verdict, newest tick, firmware version (3), build id,
# which entry it was started by (ENTRY_*), the board's own number (zeros for none);
# the run of now by session and tick of its arming (0, 0 = none) and its plan's CRC, low and high
# half; bytes of the memory of the last minutes, and of the thinned one of the last day; the trip
# before the last start that nothing has been armed after (0 = none), and why it started (RESET_*)
HELLO_REPLY = "<BIBBI3B8sB8sIIHHIIBB"
# BACKFILL's answer: first tick that will come, first of those kept at least one a second, first of
# those kept every tick
BACKFILL_REPLY = "<III"
# SELFTEST's answer: port flags, outputs, I I sums of the arithmetic (self_sums.py), what is wrong
# with the memory (SELF_*), bytes of free heap; then for each channel its fault, cold junction and
# reading
SELFTEST_REPLY = "<HBIIBI"
SELFTEST_CHANNEL = "<Bhi"
SELF_SETTINGS_CHANGED = 1
SELF_LIMITS_CHANGED = 2
SERVICE_PLEASE = 1
SERVICE_UNPLUGGED = 2
ARM_PAYLOAD = "<HHBBI"
TOUCH_PAYLOAD = "<BhB"  # of STAGE_REQUEST

ENTRY_HEATS = 0  # the entry that drives pins
ENTRY_INJECTED = 1  # ports/inject: no pins, readings from the wire; no run there is a real one
BOARD_NUMBER_BYTES = 8

ATTEND_HOST = 1
ATTEND_PANEL = 2
ATTEND_UNATTENDED = 3

# Touches: what a person may change while a run is on.
HOLD_HERE = 1  # stand still at the board's temperature of now
GO_ON = 2  # end of holding here
EXTEND = 3  # amount: ticks more, in this stage
NEXT_STAGE = 4
LAST_PLATEAU = 5  # back to the last hold's temperature, and stand still there
OFFSET = 6  # amount: cdeg that every target is shifted by, instead of the shift before
COOL_DOWN = 7
MARK = 8  # amount: one of MARK_NAMES, 0 for the next expected one
FAN_NOW = 9  # the solder is solid: the fan may start
ANSWER = 32  # in the record only: a prompt was acknowledged

TOUCH_NAMES = {
    HOLD_HERE: "HOLD_HERE", GO_ON: "GO_ON", EXTEND: "EXTEND", NEXT_STAGE: "NEXT_STAGE",
    LAST_PLATEAU: "LAST_PLATEAU", OFFSET: "OFFSET", COOL_DOWN: "COOL_DOWN", MARK: "MARK",
    FAN_NOW: "FAN_NOW", ANSWER: "ANSWER",
}

MARK_NEXT = 0
MARK_FLUX_ON = 1
MARK_NOZZLE_ON = 2
MARK_SOLDER_MOVES = 3
MARK_CHIP_OFF = 4
MARK_CHIP_ON = 5
MARK_AIR_AWAY = 6
MARK_NOTE = 7  # anything else a person wants to find again

MARK_NAMES = (
    "NEXT", "FLUX_ON", "NOZZLE_ON", "SOLDER_MOVES", "CHIP_OFF", "CHIP_ON", "AIR_AWAY", "NOTE",
)

BY_NOBODY = 0
BY_BUTTON = 1
BY_TERMINAL = 2
BY_PAGE = 3
BY_SCRIPT = 4

SOURCE_NAMES = ("NOBODY", "BUTTON", "TERMINAL", "PAGE", "SCRIPT")

STOP_BY_PERSON = 1
STOP_SMOKE = 2
STOP_HOST_ENDING = 3
STOP_SELF_CHECK = 4  # the PC doubts the device: its outputs, or its clock

# Refusals in a REPLY.
DONE = 0
WRONG_VERSION = 1
WRONG_SESSION = 2
WRONG_STATE = 3
BAD_LENGTH = 4
BAD_RANGE = 5
BAD_CRC = 6
BAD_PLAN = 7  # followed by B row of plan.PLAN_FAULTS
NOT_OFFERED = 8
WRONG_PROMPT = 9
BUSY = 10
TOO_OLD = 11
ABOVE_LIMIT = 12  # beyond what was shown at the arming press
NO_PLATEAU = 13  # no hold has been reached yet
NO_RUN = 14
SWITCH_CLOSED = 15  # a sense says that a switch of the heater is not open

REFUSAL_NAMES = (
    "DONE", "WRONG_VERSION", "WRONG_SESSION", "WRONG_STATE", "BAD_LENGTH", "BAD_RANGE", "BAD_CRC",
    "BAD_PLAN", "NOT_OFFERED", "WRONG_PROMPT", "BUSY", "TOO_OLD", "ABOVE_LIMIT", "NO_PLATEAU",
    "NO_RUN", "SWITCH_CLOSED",
)

# An answered request is newer than the last accepted one by 1..SEQUENCE_WINDOW. RENEW and STOP are
# outside that order: a RENEW is dated by its tick, a STOP is always welcome.
SEQUENCE_WINDOW = 0x7FFF
MAX_FRAME_AGE_TICKS = 100  # a request that saw no tick younger than this is an old buffer
MAX_DAMAGED_PER_MIN = 10
