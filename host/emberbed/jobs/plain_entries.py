"""What people type into the bench record, made fit to be kept: one line of plain text each."""

from emberbed.bench.prepare import NotReady
from emberbed.plain_text import hidden_characters
from emberbed.profiles.limits import TEXTS

MOST_NAME = TEXTS["name"]  # characters; a board may be called what its profile is called
MOST_SENTENCE = 500


def one_line(what: str, text: str, most: int) -> str:
    """Return text as it is kept. NotReady names what it is and the mend."""
    line = " ".join(text.split())
    if not line or len(line) > most or hidden_characters(line):
        raise NotReady([f"{what} is 1 to {most} characters of plain text: write it anew"])
    return line


def name_of(what: str, text: str) -> str:
    return one_line(what, text, MOST_NAME)


def sentence_of(what: str, text: str) -> str:
    return one_line(what, text, MOST_SENTENCE)


def folded(text: str) -> str:
    """Return what two spellings of one name share: upper case and extra spaces count not."""
    return " ".join(text.casefold().split())
