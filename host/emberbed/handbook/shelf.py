"""Which pages the handbook has, in the order in which a newcomer wants them.

A test holds this list against the folder `docs`: a document that stands on no shelf is a mistake.
"""

from pathlib import Path

DOCS = Path(__file__).parents[1] / "docs"

# heading -> documents below it
SHELVES = {
    "Begin": ("index", "tutorial", "cookbook"),
    "Build": ("hardware", "install", "commissioning"),
    "Work": ("page", "trips", "boards", "profiles", "materials", "moisture", "calibration", "job"),
    "Know": (
        "safety",
        "evidence",
        "control",
        "performance",
        "report",
        "data",
        "faults",
        "commands",
        "link",
    ),
}
PAGES = tuple(name for names in SHELVES.values() for name in names)


def title_of(markdown: str) -> str:
    """Return a document's title, the first line of it."""
    return markdown.splitlines()[0].removeprefix("# ")
