"""The whole handbook: HTML, one style with the bench page, pictures, files that are linked to.

As content by its path, for the bench page's server, or written into a folder: OSError when that
cannot be written; what else lies in it is left alone.
"""

import html
import shutil
from functools import cache
from pathlib import Path

from emberbed.handbook.render import beside, render, whole
from emberbed.handbook.shelf import DOCS, PAGES, SHELVES, title_of

STYLE = Path(__file__).with_name("handbook.css")
BENCH_PAGE = Path(__file__).parents[1] / "page" / "static"
FIRST = "index.html"


@cache
def handbook() -> dict[str, str | Path]:
    """Return what lies where in the handbook: the text of a page, or the file that is shown."""
    texts = {name: (DOCS / f"{name}.md").read_text(encoding="utf-8") for name in PAGES}
    titles = {name: title_of(text) for name, text in texts.items()}
    styles = (STYLE, BENCH_PAGE / "page.css", BENCH_PAGE / "icon.svg")
    found: dict[str, str | Path] = {style.name: style for style in styles}
    for name, text in texts.items():
        page = render(text)
        found[f"{name}.html"] = whole(titles[name], _shelves(titles, name), page.body)
        found |= {beside(path): DOCS / path for path in page.files}
    return found


def write_handbook(to: Path) -> Path:
    """Write the handbook below `to`; return its first page."""
    for path, content in handbook().items():
        place = to / path
        place.parent.mkdir(parents=True, exist_ok=True)
        if isinstance(content, Path):
            shutil.copyfile(content, place)
        else:
            place.write_text(content, encoding="utf-8", newline="\n")
    return to / FIRST


def _shelves(titles: dict[str, str], current: str) -> str:
    """Return the list of all pages, the current one marked."""
    parts = ['<nav aria-label="Pages">']
    for heading, names in SHELVES.items():
        parts.append(f"<h2>{heading}</h2>\n<ul>")
        for name in names:
            here = ' aria-current="page"' if name == current else ""
            parts.append(f'<li><a href="{name}.html"{here}>{html.escape(titles[name])}</a></li>')
        parts.append("</ul>")
    return "\n".join([*parts, "</nav>"])
