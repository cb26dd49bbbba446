"""One Markdown document to one HTML page: headings that can be linked to, links to other pages.

Takes text, gives text; a link out of the folder of the documents is told to the caller, who puts
that file beside the pages.
"""

import html
import re
from collections import Counter
from dataclasses import dataclass, field

from markdown_it import MarkdownIt
from markdown_it.token import Token

from emberbed.handbook.places import slug

_ELSEWHERE = re.compile(r"[a-z]+:|#")  # a scheme, or a place on the same page
_MADE = re.compile(r"<!-- (?:made: [^>]+|end) -->\n")


@dataclass
class Page:
    """A page's inside; `files` are the linked files that are no pages, as paths from the docs."""

    body: str
    files: set[str] = field(default_factory=set)


def render(markdown: str) -> Page:
    """Return the page of a document."""
    parser = MarkdownIt("commonmark", {"html": False}).enable("table")
    tokens = parser.parse(_MADE.sub("", markdown))
    page = Page("")
    _name_headings(tokens)
    for token in tokens:
        inside = token.children or []
        for inner in inside:
            _mend_link(inner, page)
        _name_links(inside)
    page.body = _roomy(parser.renderer.render(tokens, parser.options, {}))
    return page


def _name_headings(tokens: list[Token]) -> None:
    seen: Counter[str] = Counter()
    for token, inside in zip(tokens, tokens[1:], strict=False):
        if token.type == "heading_open":
            words = "".join(part.content for part in inside.children or ())
            name = slug(words)
            token.attrSet("id", f"{name}-{seen[name]}" if seen[name] else name)
            seen[name] += 1


def _mend_link(token: Token, page: Page) -> None:
    """Point a link at the page of a document, or at the copy of a file."""
    key = {"link_open": "href", "image": "src"}.get(token.type)
    if key is None:
        return
    target = str(token.attrGet(key))
    if _ELSEWHERE.match(target):
        return
    path, mark, place = target.partition("#")
    if path.endswith(".md"):
        token.attrSet(key, f"{path.removesuffix('.md')}.html{mark}{place}")
        return
    page.files.add(path)
    token.attrSet(key, beside(path))


def _name_links(inside: list[Token]) -> None:
    """Let the text of a link that is a document's file name be that of a page."""
    for before, text in zip(inside, inside[1:], strict=False):
        if before.type == "link_open" and text.type == "text":
            text.content = text.content.removesuffix(".md")


def beside(path: str) -> str:
    """Return where a linked file lies among the pages."""
    return path if path.startswith("pictures/") else f"files/{path.rsplit('/', 1)[-1]}"


def _roomy(body: str) -> str:
    """Let wide tables and lines scroll by themselves, also by keyboard."""
    around = '<div class="wide" tabindex="0">'
    body = body.replace("<table>", f"{around}<table>").replace("</table>", "</table></div>")
    return body.replace("<pre>", '<pre tabindex="0">')


def whole(title: str, shelves: str, body: str) -> str:
    """Return a whole HTML document."""
    return f"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>{html.escape(title)} · Emberbed</title>
<link rel="icon" href="icon.svg" type="image/svg+xml">
<link rel="stylesheet" href="page.css">
<link rel="stylesheet" href="handbook.css">
</head>
<body>
<a class="skip" href="#main">Skip to the text</a>
<div class="both">
<aside id="pages">{shelves}</aside>
<main id="main" tabindex="-1">
<p class="to-pages"><a href="#pages">All pages</a></p>
{body}</main>
</div>
</body>
</html>
"""
