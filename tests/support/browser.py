"""A real browser without a window, for the tests of pages."""

from collections.abc import Iterator
from contextlib import contextmanager

from tests.support.parts import need_program, need_python_module

FLAGS = [
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-sandbox",  # the page is ours, and a test runner is often root
]


@contextmanager
def running_browser() -> Iterator:
    """Start the system's Chromium; skip, or fail where every part is required, without one."""
    program = need_program("chromium", "install chromium, for the tests in a real browser")
    need_python_module("playwright", "pip install playwright, for the tests in a real browser")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=FLAGS)
        yield browser
        browser.close()
