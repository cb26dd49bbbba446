"""Why a port gave no session, as a `LinkError`: one sentence that names the port and the mend."""

from emberbed.link.session import Session
from emberbed.link.transport import LinkError
from emberbed_fw.frames import PROTOCOL_VERSION


def wrong_version(url: str, spoken: str) -> LinkError:
    """The far end speaks the protocol in another version."""
    return LinkError(
        f"The device at {url} speaks {spoken} of the protocol and this program version "
        f"{PROTOCOL_VERSION}: install the firmware that belongs to this program on the device"
    )


def nobody(url: str, session: Session, timeout_s: float) -> LinkError:
    """HELLO was not answered in time; what has come meanwhile tells more."""
    if session.bytes_received == 0:
        return LinkError(
            f"Nothing answers at {url} within {timeout_s:g} s: check that the device has "
            "power and its firmware, and that this is its port"
        )
    if session.frames_received == 0:
        return LinkError(f"What speaks at {url} is no Emberbed device: choose another port")
    return LinkError(
        f"The device at {url} speaks but does not answer within {timeout_s:g} s: "
        "switch it off and on, then connect again"
    )


def shown_out(url: str, session: Session, broke: LinkError) -> LinkError:
    """The port closed before anything came over it: so do bridges that serve somebody else."""
    if session.bytes_received or "://" not in url:
        return broke
    return LinkError(
        f"What listens at {url} closed the connection at once, as if another program were connected"
        " to it: close that one, then try again"
    )
