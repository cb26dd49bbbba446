"""Make the pictures of docs/page.md from real runs at the virtual device, in a real browser.

    python -m tests.docs.make_page_pictures

Look at them before they are committed.
"""

from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image, ImageDraw

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
            tab = open_tab(browser, command.url)
            prepares(tab)
            asks(tab)
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


def prepares(tab: Tab) -> None:
    """What has to be so before heat; a drawing stands for the photograph of the sensors."""
    tab.page.locator(".pick", has_text="27 mm BGA").first.click()
    tab.button("Prepare the board").click(timeout=LONG_MS)
    photo = {"name": "bench.png", "mimeType": "image/png", "buffer": drawn_board()}
    tab.page.locator("input[type=file]").set_input_files(photo)
    tab.page.locator(".placement img").wait_for(timeout=LONG_MS)
    tab.page.locator("#place").fill("8 mm right of the chip; upper left corner")
    keep(tab, "page-before")
    tab.button("Back").click()


def drawn_board() -> bytes:
    """Return a board with a chip and two beads on their wires."""
    image = Image.new("RGB", (900, 620), "#185c36")
    pen = ImageDraw.Draw(image)
    pen.rectangle((330, 200, 560, 430), fill="#28282c")
    for x, y, to in ((601, 311, (880, 20)), (71, 71, (10, 600))):
        pen.line((x, y, *to), fill="#c8b43c", width=5)
        pen.ellipse((x - 11, y - 11, x + 11, y + 11), fill="#d2a03c")
    stream = BytesIO()
    image.save(stream, "PNG")
    return stream.getvalue()


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
