"""The page in small windows (a low tablet, a laptop, a telephone), and the handbook from it."""

import pytest

from tests.end_to_end.page_bench import LONG_MS, PageCommand, open_tab
from tests.end_to_end.test_page_looks import scan
from tests.support import bench_jobs
from tests.support.profiles import PROMPT, hold_profile

LOW = [(1024, 600), (1366, 768), (1280, 900)]
GLOVE_PX = 64  # shared checklist of bench instruments
PHONE = (390, 844)
EDITOR = "edit/shipped/label-printer"
READY = {
    "bench": ".pick", "runs": "tbody tr", "runs/1": ".log li", "jobs": "h1", "jobs/1": "h1",
    "edit": ".list a", EDITOR: "#at-stages-0-to_c", "heater": "tbody tr",
}  # fmt: skip
# what a hand touches; a box lies in its label, a link in a text is none (WCAG 2.2, 2.5.8)
SMALL = """least => [...document.querySelectorAll(
    "button, select, textarea, input:not(.box), summary, nav a, td a, .button, .pick, .pickbox")]
  .filter((node) => node.checkVisibility() && !node.closest(".unseen"))
  .map((node) => [node, node.getBoundingClientRect()])
  .filter(([, box]) => Math.min(box.width, box.height) < least)
  .map(([node, box]) => `${node.tagName} ${node.id} ${node.textContent.slice(0, 20)}: `
    + `${box.width} x ${box.height}`)"""
TOO_WIDE = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


@pytest.fixture(scope="module")
def quiet(make_run, short_profile, tmp_path_factory):
    """Return the page of a bench on which nothing runs, with one run and one job in its store."""
    from emberbed.store.run_store import RunStore

    store = make_run(short_profile).store
    with RunStore.open(store) as opened:
        bench_jobs.fill(opened, tmp_path_factory.mktemp("photos"))
    with PageCommand(store) as page:
        yield page


@pytest.mark.parametrize("size", [(1024, 600), PHONE, (360, 740)])
def test_every_screen_fits_and_a_glove_hits_what_is_on_it(quiet, browser, size):
    tab = open_tab(browser, quiet.url, *size)
    tab.page.locator(".pick").first.wait_for(timeout=LONG_MS)
    for screen, ready in READY.items():
        tab.page.evaluate("(screen) => { location.hash = `#/${screen}`; }", screen)
        tab.page.locator(ready).first.wait_for(timeout=LONG_MS)
        tab.page.wait_for_timeout(200)
        assert tab.page.evaluate(SMALL, GLOVE_PX) == [], screen
        assert tab.page.evaluate(TOO_WIDE) == 0, screen
    assert tab.complaints == []
    tab.page.close()


def test_the_editor_on_a_telephone_shows_what_a_stage_has(quiet, browser):
    tab = open_tab(browser, quiet.url, *PHONE)
    tab.page.locator(".pick").first.wait_for(timeout=LONG_MS)
    tab.page.evaluate("(screen) => { location.hash = `#/${screen}`; }", EDITOR)
    tab.page.locator("#at-stages-0-to_c").wait_for(timeout=LONG_MS)
    for node in tab.page.locator("tbody :is(input, button)").all():
        box = node.bounding_box()
        assert box["x"] >= 0 and box["x"] + box["width"] <= PHONE[0]
    tab.page.locator("#at-stages-0-to_c").fill("600")
    tab.page.locator("#at-stages-0-to_c[aria-invalid=true]").wait_for(timeout=LONG_MS)
    assert scan(tab) == []
    tab.page.close()


@pytest.mark.parametrize("size", LOW)
def test_what_has_to_be_so_and_its_press_are_on_one_screen(quiet, browser, size):
    tab = open_tab(browser, quiet.url, *size)
    tab.button("Prepare the board").click(timeout=LONG_MS)
    tab.page.locator(".placement p").first.wait_for(timeout=LONG_MS)
    tab.page.wait_for_timeout(200)
    for node in (tab.page.locator(".before"), tab.button("load the device")):
        box = node.bounding_box()
        assert box["y"] >= 0 and box["y"] + box["height"] <= size[1]
    assert tab.page.evaluate(SMALL, GLOVE_PX) == []
    assert tab.page.evaluate(TOO_WIDE) == 0
    tab.page.close()


def at_a_glance(tab, *what):
    """Assert in every low window that things are seen whole, above the bar of the hands."""
    for size in LOW:
        tab.page.set_viewport_size(dict(zip(("width", "height"), size, strict=True)))
        tab.page.wait_for_timeout(200)
        hands = tab.page.locator("#hands").bounding_box()["y"]
        for place in (".degrees b", ".now .big", ".may", *what):
            box = tab.page.locator(place).bounding_box()
            assert box["y"] >= 0 and box["y"] + box["height"] <= hands + 1, (place, size)
        assert tab.page.evaluate(TOO_WIDE) == 0, size


def test_what_is_asked_and_whether_to_touch_it_are_seen_at_once(tmp_path, browser):
    profile = tmp_path / "asks.toml"
    profile.write_text(hold_profile(for_s=30, prompt=PROMPT), encoding="utf-8")
    with PageCommand(tmp_path / "runs.sqlite", profile, "--speed", "20") as command:
        tab = open_tab(browser, command.url)
        tab.load()
        at_a_glance(tab, ".asks")
        tab.press()
        at_a_glance(tab, ".steps")
        tab.until("moment.facts.ask !== null")
        at_a_glance(tab, ".asks")
        assert tab.page.locator("button.answer").bounding_box()["width"] > 2 * GLOVE_PX
        tab.page.close()


def test_a_trip_leads_to_its_place_in_the_handbook_without_a_network(tmp_path, browser):
    fault = ("--fault", "tc_open@60s#1")
    with PageCommand(tmp_path / "runs.sqlite", "--speed", "20", *fault) as command:
        tab = open_tab(browser, command.url)
        tab.load("27 mm BGA")
        tab.press()
        tab.page.locator(".trip:visible").wait_for(timeout=LONG_MS)
        at_a_glance(tab, ".trip")
        with tab.page.expect_popup() as opened:
            tab.page.get_by_role("link", name="This trip in the handbook").click()
        place = opened.value.locator("#open-thermocouple")
        place.wait_for(timeout=LONG_MS)
        assert 0 <= place.bounding_box()["y"] < LOW[-1][1]
        assert tab.moment("facts.trip.title") == "open thermocouple"  # the run is still in sight
        assert tab.complaints == []
        tab.page.close()


def test_the_menu_opens_the_handbook_which_asks_this_computer_only(quiet, browser):
    tab = open_tab(browser, quiet.url)
    with tab.page.expect_popup() as opened:
        tab.page.get_by_role("link", name="Handbook").click(timeout=LONG_MS)
    page, asked, complaints = opened.value, [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda said: complaints.append(said.text))
    page.wait_for_load_state()
    for name in ("It tripped", "Hardware guide", "The bench page"):
        page.get_by_role("navigation").get_by_role("link", name=name).click()
        page.get_by_role("heading", level=1, name=name).wait_for(timeout=LONG_MS)
        page.wait_for_load_state("networkidle")
        broken = "[...document.images].filter((one) => !one.naturalWidth).map((one) => one.src)"
        assert page.evaluate(broken) == []
        assert page.evaluate("getComputedStyle(document.querySelector('.both')).display") == "grid"
    home = quiet.url.partition("/#")[0]
    assert len(asked) > 6 and all(url.startswith(f"{home}/handbook/") for url in asked)
    assert complaints == []
    page.close()
    tab.page.close()
