"""How a place in the handbook is named, for whoever links to one."""

import re

_NO_SLUG = re.compile(r"[^\w\- ]")


def slug(heading: str) -> str:
    """Return how a heading is linked to, as the usual viewers of Markdown do."""
    return _NO_SLUG.sub("", heading.lower()).replace(" ", "-")
