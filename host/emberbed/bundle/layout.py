"""What a bundle holds: a zip with these entries and no other, and how large each may be.

A run that belongs to a job of the bench record brings the job as it stands in `job.json`, and its
photographs and temperature logs below `job/`, each under the SHA-256 of its bytes.

`run.json` has the run's columns, its chain's blocks, events, notes, and where each stretch and
snapshot lies in its entry; the others are bytes as the store has them. No program is in a bundle:
the firmware is named by its fingerprint.
"""

import re
from dataclasses import fields

from emberbed.store.runs import Note, RunEvent

VERSION = 1
RUN, PROFILE, PLAN, SETTINGS = "run.json", "profile.toml", "plan.bin", "settings.bin"
STRETCHES, SNAPSHOTS = "stretches.bin", "snapshots.bin"
MIB = 1024 * 1024
MOST_BYTES = {
    RUN: 32 * MIB,
    PROFILE: MIB,
    PLAN: MIB,
    SETTINGS: MIB,
    STRETCHES: 256 * MIB,
    SNAPSHOTS: 32 * MIB,
}
MOST_FILE_BYTES = 320 * MIB
JOB, JOB_FOLDER = "job.json", "job/"
JOB_ENTRY = re.compile(r"job\.json|job/[0-9a-f]{64}\.(jpg|csv)")
MOST_JOB_BYTES = 160 * MIB  # of all entries of a job together
MOST_JOB_TEXT_BYTES = 8 * MIB
MOST_JOB_ENTRIES = 5000
MOST_STRETCHES = 4000  # a day has 1440
MOST_TICKS = 2_000_000  # a day has 864,000
MOST_ROWS = 100_000  # of events, notes, snapshots or blocks

# columns of the run's row that travel in run.json; bytes as hexadecimal
BYTES_COLUMNS = ("head_sha256", "later_sha256", "trip_counts")
TEXT_COLUMNS = (
    "started_utc", "last_stored_utc", "ended_utc", "state", "profile_name", "device", "engine",
    "firmware_version", "firmware_digest", "host_version", "speed", "process_node",
    "process_started",
)  # fmt: skip
NUMBER_COLUMNS = (
    "session", "seed", "simulated", "exit_code", "trip", "limits_exceeded", "process_id",
    "closing_form", "linked_to", "bundled_run", "bundled_linked_to",
)  # fmt: skip
MAY_BE_NONE = {
    "ended_utc", "seed", "exit_code", "limits_exceeded", "closing_form", "linked_to", "bundled_run",
    "bundled_linked_to", "later_sha256", "trip_counts",
}  # fmt: skip
ENTRY_COLUMNS = {"profile_toml": PROFILE, "plan": PLAN, "settings": SETTINGS}
STRETCH_COLUMNS = ("first_block", "last_block", "first_tick", "last_tick", "ticks", "packed_crc32")
EVENT_COLUMNS = tuple(field.name for field in fields(RunEvent))
NOTE_COLUMNS = tuple(field.name for field in fields(Note))


class BundleError(Exception):
    """A bundle that cannot be written or read; one sentence naming the file and the mend."""
