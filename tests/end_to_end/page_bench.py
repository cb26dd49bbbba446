"""The bench page in a real browser: `emberbed page` as a process, and a tab that has opened it."""

import json
import subprocess
import time
from dataclasses import dataclass

from tests.support.command import COMMAND, environment

LONG_MS = 120_000  # a busy machine may be slow; nothing waits for it to pass


class PageCommand:
    """A running `emberbed page`; leave its `with` and it is gone."""

    def __init__(self, store, *words):
        command = [*COMMAND, "page", "--json", "--port", "0", "--store", store, *words]
        self.store = store
        self.process = subprocess.Popen(
            [str(word) for word in command],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=environment(),
        )
        self.said = json.loads(self.process.stdout.readline())
        self.url = self.said["url"]

    def __enter__(self):
        return self

    def __exit__(self, *_error):
        self.process.kill()
        self.process.communicate(timeout=20)

    def virtual_device(self):
        """Return the process number of the virtual device that it has started."""
        end_s = time.monotonic() + 10
        while time.monotonic() < end_s:
            listed = subprocess.run(
                ["ps", "-o", "pid=,args=", "--ppid", str(self.process.pid)],
                capture_output=True, text=True, check=False,
            )  # fmt: skip
            for line in listed.stdout.splitlines():
                if "emberbed_sim.virtual_device" in line:
                    return int(line.split()[0])
            time.sleep(0.1)
        raise AssertionError("no virtual device runs")


@dataclass
class Tab:
    """An open page and what the browser complained of."""

    page: object
    complaints: list

    def button(self, name):
        return self.page.get_by_role("button", name=name)

    def load(self, profile=None):
        """Choose the first or the named profile, confirm the board, load the device."""
        if profile is not None:
            self.page.locator(".pick", has_text=profile).first.click()
        self.button("Prepare the board").click(timeout=LONG_MS)
        self.button("load the device").click()
        self.button("simulated button").wait_for(timeout=LONG_MS)

    def press(self):
        self.button("simulated button").click()
        self.until("moment.facts?.heating")

    def moment(self, what):
        """Return a part of the live state as the page has it."""
        return self.page.evaluate(f"window.emberbed.moment.{what}")

    def until(self, what, longest_ms=LONG_MS):
        """Wait until something of the page is so; its policy lets no waiting script in."""
        end_s = time.monotonic() + longest_ms / 1000
        while not self.page.evaluate(f"Boolean(window.emberbed?.{what})"):
            assert time.monotonic() < end_s, (
                f"{what} never came; the page says:\n{self.main_text()}"
            )
            self.page.wait_for_timeout(50)

    def main_text(self):
        return self.page.locator("main").inner_text()


def open_tab(browser, url, width=1280, height=900, scheme="light"):
    page = browser.new_page(viewport={"width": width, "height": height}, color_scheme=scheme)
    page.set_default_timeout(LONG_MS)
    complaints = []
    page.on("console", lambda said: complaints.append(said.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(url)
    return Tab(page, complaints)
