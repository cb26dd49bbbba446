"""The firmware that recorded a run, kept in the store beside it, so that the run can be replayed.

Only what is installed here when a run begins is ever kept. What is found again is handed out only
if it still has the fingerprint it was kept under; whether it may be run is for a person to say.
"""

from emberbed import firmware_sources
from emberbed.firmware_sources import Sources
from emberbed.store import statements as sql
from emberbed.store.database import Database


def keep_installed(database: Database, told: str, version: str) -> None:
    """Keep the installed firmware if it is the one that a device told of; in a transaction."""
    digest = firmware_sources.installed_digest()
    if not firmware_sources.matches(told, digest) or database.all(sql.FIRMWARE, digest):
        return
    sources = firmware_sources.read_sources(firmware_sources.firmware_folder())
    if firmware_sources.digest_of(sources).hex() == digest:  # it may be updated at this moment
        database.all(sql.INSERT_FIRMWARE, digest, version, firmware_sources.zipped(sources))


def kept(database: Database, told: str) -> Sources | None:
    """Return the sources of the firmware that a run tells of; None: not kept, or not whole."""
    if len(told) < 2 * firmware_sources.TOLD_BYTES:
        return None
    for row in database.all(sql.FIRMWARE_LIKE, len(told), told):
        try:
            sources = firmware_sources.unzipped(row["sources"])
        except (ValueError, TypeError):
            continue
        if firmware_sources.digest_of(sources).hex() == row["digest"]:
            return sources
    return None
