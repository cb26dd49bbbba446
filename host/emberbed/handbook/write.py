"""All pages into a folder: HTML, one style with the bench page, pictures, files that are linked to.

OSError when the folder cannot be written; what else lies in it is left alone.
"""

import html
import shutil
from pathlib import Path

from emberbed.handbook.render import beside, render, whole
from emberbed.handbook.shelf import DOCS, PAGES, SHELVES, title_of

STYLE = Path(__file__).with_name("handbook.css")
BENCH_PAGE = Path(__file__).parents[1] / "page" / "static"
FIRST = "index.html"


def write_handbook(to: Path) -> Path:
    """Write the handbook below `to`; return its first page."""
    to.mkdir(parents=True, exist_ok=True)
    texts = {name: (DOCS / f"{name}.md").read_text(encoding="utf-8") for name in PAGES}
    titles = {name: title_of(text) for name, text in texts.items()}
    files: set[str] = set()
    for name, text in texts.items():
        page = render(text)
        files |= page.files
        shown = whole(titles[name], _shelves(titles, name), page.body)
        (to / f"{name}.html").write_text(shown, encoding="utf-8", newline="\n")
    for style in (STYLE, BENCH_PAGE / "page.css", BENCH_PAGE / "icon.svg"):
        shutil.copyfile(style, to / style.name)
    for path in sorted(files):
        place = to / beside(path)
        place.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(DOCS / path, place)
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
