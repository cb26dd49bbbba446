"""The handbook as pages: complete, every link and place there, nothing from elsewhere, readable."""

import json
import re
from html.parser import HTMLParser

import pytest
from typer.testing import CliRunner

from emberbed.cli import app
from emberbed.handbook.render import render
from emberbed.handbook.shelf import DOCS, PAGES
from emberbed.handbook.write import write_handbook
from tests.support.parts import need_python_module

SIZES = ((1300, 900), (420, 900))


class Places(HTMLParser):
    """What a page links to, loads, and offers as places."""

    def __init__(self, text):
        super().__init__()
        self.links, self.places, self.unnamed = [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        self.links += [found[key] for key in ("href", "src") if key in found]
        self.places += [found["id"]] if "id" in found else []
        if tag == "img" and not found.get("alt"):
            self.unnamed.append(found["src"])


@pytest.fixture(scope="module")
def handbook(tmp_path_factory):
    folder = tmp_path_factory.mktemp("handbook")
    write_handbook(folder)
    return folder


@pytest.fixture(scope="module")
def pages(handbook):
    return {path.name: Places(path.read_text(encoding="utf-8")) for path in handbook.glob("*.html")}


def test_every_document_stands_on_one_shelf_and_is_a_page(pages):
    assert sorted(PAGES) == sorted(path.stem for path in DOCS.glob("*.md"))
    assert sorted(pages) == sorted(f"{name}.html" for name in PAGES)


def test_every_link_and_place_is_there(handbook, pages):
    lost = []
    for name, page in pages.items():
        for link in page.links:
            path, _, place = link.partition("#")
            if re.match(r"[a-z]+:", link):
                lost.append(f"{name}: {link} is somewhere else")
            elif path and not (handbook / path).is_file():
                lost.append(f"{name}: {link}")
            elif place and place not in pages[path or name].places:
                lost.append(f"{name}: {link} has no such place")
    assert lost == []


def test_places_are_named_once_and_pictures_have_words(pages):
    for name, page in pages.items():
        assert len(set(page.places)) == len(page.places), name
        assert page.unnamed == [], name


def test_nothing_is_fetched_from_anywhere(handbook):
    for path in [*handbook.glob("*.html"), *handbook.glob("*.css")]:
        text = path.read_text(encoding="utf-8")
        assert re.findall(r"""(?:src|href)=["'](?:https?:)?//|url\(|@import|<script""", text) == []


@pytest.mark.parametrize(
    ("heading", "place"),
    [
        # as hosts of Markdown name them: lower case, no punctuation, hyphens; from memory
        ("Hello, world!", "hello-world"),
        ("What `check` holds it against", "what-check-holds-it-against"),
        ("1. What is there", "1-what-is-there"),
        ("snake_case stays", "snake_case-stays"),
    ],
)
def test_headings_get_the_usual_names(heading, place):
    assert f'id="{place}"' in render(f"# {heading}\n").body


def test_second_heading_of_one_name_has_a_place_of_its_own():
    assert re.findall(r'id="([^"]+)"', render("# A\n## B\n## B\n").body) == ["a", "b", "b-1"]


def test_links_lead_to_pages_files_and_pictures():
    page = render("[a](x.md#y) ![b](pictures/b.svg) [c](../d/e.toml) [f.md](f.md) <script>\n")
    assert 'href="x.html#y"' in page.body and 'src="pictures/b.svg"' in page.body
    assert 'href="files/e.toml"' in page.body and ">f</a>" in page.body
    assert "&lt;script&gt;" in page.body
    assert page.files == {"pictures/b.svg", "../d/e.toml"}


def test_command_writes_and_says_where(tmp_path):
    said = CliRunner().invoke(app, ["docs", "--to", str(tmp_path / "new"), "--json"])
    assert said.exit_code == 0
    assert json.loads(said.stdout) == {"first_page": str(tmp_path / "new" / "index.html")}
    assert (tmp_path / "new" / "index.html").is_file()


def test_folder_that_is_a_file_is_told_in_one_sentence(tmp_path):
    (tmp_path / "taken").write_text("mine")
    said = CliRunner().invoke(app, ["docs", "--to", str(tmp_path / "taken")])
    assert said.exit_code == 2
    assert said.stderr.count("\n") == 1 and "--to" in said.stderr
    assert (tmp_path / "taken").read_text() == "mine"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_pages_fit_the_screen_and_axe_finds_nothing(handbook, browser, scheme, size):
    """axe-core's rules for WCAG 2.2 A and AA, on the pages with all kinds of things in them."""
    need_python_module("axe_playwright_python", "pip install axe-playwright-python")
    from axe_playwright_python.sync_playwright import Axe

    for name in ("index", "tutorial", "hardware", "trips"):
        page = browser.new_page(viewport={"width": size[0], "height": size[1]}, color_scheme=scheme)
        page.goto((handbook / f"{name}.html").as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0], name
        found = Axe().run(page).response["violations"]
        assert [(one["id"], one["nodes"][0]["html"]) for one in found] == [], name
        page.close()
