"""The page of a run, read back."""

import re
from html.parser import HTMLParser

from emberbed.report.run_page import write_run_page


class Page(HTMLParser):
    """What a browser would see: tags with attributes, and the text outside of style."""

    def __init__(self, source):
        super().__init__()
        self.tags, self.text, self._open = [], "", []
        self.feed(source)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self._open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        while self._open and self._open.pop() != tag:
            pass

    def handle_data(self, data):
        if "style" not in self._open:
            self.text += data + " "

    @property
    def plain(self):
        return re.sub(r"\s+", " ", self.text)


def page_of(store, run_id):
    path = store.path.parent / "page.html"
    write_run_page(store, run_id, path)
    return path.read_text(encoding="utf-8")
