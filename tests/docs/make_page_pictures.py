"""Make the pictures of docs/page.md from real runs at the virtual device, in a real browser.

    python -m tests.docs.make_page_pictures

Look at them before they are committed.
"""

from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image

from tests.end_to_end.page_bench import LONG_MS, PageCommand, Tab, open_tab
from tests.support.browser import running_browser

FOLDER = Path(__file__).resolve().parents[2] / "host/emberbed/docs/pictures"
COLOURS = 160  # flat areas and text need no more
MOST_WIDTH = 900
SPEED = "25"


def main() -> None:
    with running_browser() as browser, TemporaryDirectory() as folder:
        store = Path(folder) / "runs.sqlite"
        with PageCommand(store, "--speed", SPEED) as command:
            asks(open_tab(browser, command.url))
        with PageCommand(store, "--speed", SPEED, "--fault", "tc_open@400s#1") as command:
            trips(open_tab(browser, command.url, scheme="dark"))


def asks(tab: Tab) -> None:
    """A question on the bench, and the same on a tablet."""
    tab.load("27 mm BGA")
    tab.press()
    tab.until("moment.facts.ask !== null")
    keep(tab, "page-question")
    tab.page.set_viewport_size({"width": 820, "height": 1180})
    keep(tab, "page-tablet")


def trips(tab: Tab) -> None:
    tab.load("27 mm BGA")
    tab.press()
    tab.page.locator(".trip:visible").wait_for(timeout=LONG_MS)
    keep(tab, "page-trip")


def keep(tab: Tab, name: str) -> None:
    tab.page.wait_for_timeout(700)
    shot = Image.open(BytesIO(tab.page.screenshot())).convert("RGB")
    width = min(shot.width, MOST_WIDTH)
    small = shot.resize((width, round(shot.height * width / shot.width)), Image.Resampling.LANCZOS)
    small.quantize(COLOURS).save(FOLDER / f"{name}.png", optimize=True)


if __name__ == "__main__":
    main()
