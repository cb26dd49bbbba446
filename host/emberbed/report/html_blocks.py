"""Write a sheet of blocks as one HTML file that needs nothing else: no script, no network.

Everything is escaped (`markup`); a content policy forbids whatever should slip through. For the
blocks that sheets on the web are made of; charts and logs are on the run page.
"""

from base64 import b64encode
from html import escape
from pathlib import Path

from emberbed.report.blocks import (
    Block,
    Facts,
    Heading,
    Photos,
    Points,
    Rows,
    Said,
    Sheet,
    Verdict,
)
from emberbed.report.markup import Markup, facts, joined, sentences, table, tag
from emberbed.report.page_style import STYLE
from emberbed.report.photos import Photo
from emberbed.store.faults import StoreError

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
_SHEET_STYLE = """
.photos { display: flex; flex-wrap: wrap; gap: 1rem; align-items: flex-start; }
.photos figure { flex: 1 1 16rem; margin: .6rem 0; max-width: 28rem; break-inside: avoid; }
.photos img { width: auto; height: auto; max-width: 100%; max-height: 22rem; display: block; }
@page { margin: 10mm; }
@media print { html { font-size: 11px; } body { font-size: 9pt; line-height: 1.35; }
  main { padding: 0; } h2 { margin: .8rem 0 .2rem; } ul, .photos figure { margin: .3rem 0; }
  .photos img { max-height: 5cm; }
  .verdict { border: 1px solid; } .verdict.bad { border-width: 3px; } }
"""


def write_html(sheet: Sheet, path: Path) -> None:
    """Write `sheet` as a web page. StoreError when the file cannot be written."""
    try:
        path.write_text(html_of(sheet), encoding="utf-8", newline="\n")
    except OSError as error:
        raise StoreError(f"{path} cannot be written ({error.strerror}): name another file") from (
            error
        )


def html_of(sheet: Sheet) -> str:
    """Return the page as text."""
    head = joined(
        Markup('<meta charset="utf-8">'),
        Markup(f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'),
        Markup('<meta name="viewport" content="width=device-width, initial-scale=1">'),
        tag("title", sheet.title),
        tag("style", Markup(STYLE + _SHEET_STYLE)),
    )
    opening = [tag("h1", sheet.title), tag("p", sheet.lead, class_="lead")]
    body = tag("main", *opening, *map(_written, sheet.blocks))
    return f"<!doctype html>\n{tag('html', tag('head', head), tag('body', body), lang='en')}\n"


def _written(block: Block) -> Markup:
    match block:
        case Heading():
            return tag("h2", block.words)
        case Said():
            return tag("p", block.words)
        case Points():
            return sentences(list(block.lines))
        case Facts():
            return facts(list(block.pairs))
        case Rows():
            rows: list[list[object]] = [list(row) for row in block.rows]
            return table(list(block.heads), rows, numbers_from=len(block.heads))
        case Verdict():
            lines = [tag("p", line) for line in block.lines]
            class_ = "verdict bad" if block.bad else "verdict"
            return tag("div", tag("strong", block.strong), *lines, class_=class_)
        case Photos():
            return tag("div", *(_photo(*shown) for shown in block.shown), class_="photos")
        case _:
            raise TypeError(f"no sheet on the web has a {type(block).__name__}")


def _photo(caption: str, photo: Photo) -> Markup:
    source = f"data:image/jpeg;base64,{b64encode(photo.jpeg).decode('ascii')}"
    size = f'width="{photo.width}" height="{photo.height}"'
    image = Markup(f'<img src="{source}" alt="{escape(caption)}" {size}>')
    return tag("figure", image, tag("figcaption", caption))
