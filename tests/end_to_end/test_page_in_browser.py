"""The run page in a real browser: whole, silent, readable wide and narrow, light and dark."""

import json

import pytest


@pytest.fixture(scope="module")
def tripped_page(make_run, short_profile, tmp_path_factory):
    """Return the address of the page of a run that tripped."""
    page = tmp_path_factory.mktemp("page") / "run.html"
    ran = make_run(short_profile, "--json", "--page", page, "--fault", "tc_open@60s")
    assert json.loads(ran.done.output)["state"] == "tripped", ran.done.said
    return page.as_uri()


@pytest.fixture(params=[(1280, "light"), (1280, "dark"), (768, "light"), (390, "dark")])
def opened(request, browser, tripped_page):
    """Return the page opened in one width and one scheme, with what the browser complained of."""
    width, scheme = request.param
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
    complaints = []
    page.on("console", lambda said: complaints.append(said.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("requestfailed", lambda asked: complaints.append(asked.url))
    page.goto(tripped_page)
    yield page, complaints
    page.close()


def test_page_is_silent_and_asks_the_network_for_nothing(opened):
    page, complaints = opened
    assert complaints == []
    loaded = page.evaluate("performance.getEntriesByType('resource').map(entry => entry.name)")
    assert [name for name in loaded if not name.startswith("data:")] == []


def test_page_tells_cause_and_mend_at_first_sight(opened):
    page, _complaints = opened
    told = page.get_by_text("is open", exact=False).first
    place = told.bounding_box()
    assert place and place["y"] + place["height"] < 900, "before any scrolling"
    assert page.get_by_text("What to do:").is_visible()


def test_page_is_not_wider_than_the_window(opened):
    """A wide part scrolls by itself; the page does not."""
    page, _complaints = opened
    wide, window = page.evaluate(
        "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
    )
    assert wide <= window


def test_chart_is_drawn_with_its_sensors(opened):
    page, _complaints = opened
    box = page.locator("svg").first.bounding_box()
    assert box and box["width"] > 350 and box["height"] > 150
    assert page.locator("svg text", has_text="top_near_chip").count() >= 1


def test_text_stands_out_from_its_ground(opened):
    """Contrast of text and ground: at least 4.5, WCAG 2.2 success criterion 1.4.3 (from memory)."""
    page, _complaints = opened
    colours = page.evaluate(
        """() => ["color", "backgroundColor"].map(
            name => getComputedStyle(document.body)[name].match(/[\\d.]+/g).map(Number))"""
    )
    ink, ground = (luminance(colour[:3]) for colour in colours)
    light, dark = max(ink, ground), min(ink, ground)
    assert (light + 0.05) / (dark + 0.05) >= 4.5


def luminance(rgb):
    """Return the relative luminance of an sRGB colour (WCAG 2.2 definition, from memory)."""
    linear = [
        part / 255 / 12.92 if part / 255 <= 0.04045 else ((part / 255 + 0.055) / 1.055) ** 2.4
        for part in rgb
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
