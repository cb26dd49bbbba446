"""The device's "no", as an exception with one sentence."""

from emberbed.link.events import Reply
from emberbed.refusal_words import refusal_words


class Refused(Exception):
    """The device said no. `code` is a refusal of messages.py, `detail` what followed it, if any;
    `touch` is what was to be changed, 0 for another request."""

    def __init__(self, request_type: int, code: int, detail: int | None, touch: int = 0) -> None:
        super().__init__(refusal_words(code, detail, request_type, touch))
        self.request_type = request_type
        self.code = code
        self.detail = detail
        self.touch = touch


def refused_by(reply: Reply) -> Refused:
    """Return what a reply that is no "done" says."""
    detail = reply.data[0] if reply.data else None
    return Refused(reply.request_type, reply.refusal, detail)
