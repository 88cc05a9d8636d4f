"""The browser that pages are looked at with: the machine's own Chromium."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import Browser, sync_playwright

VARIABLE = "CHROMIUM"
"""Environment variable that names the browser's program where it is not found by itself."""

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")

QUIET = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update",
]  # fmt: skip


def chromium() -> str:
    """Return where the browser is: as named, on the path, or as playwright has installed it.

    Raises:
        AssertionError: there is none; to be without one is a failure, not a reason to skip.
    """
    named = os.environ.get(VARIABLE, "")
    if named:
        assert shutil.which(named), f"{VARIABLE} names no program: {named}"
        return named
    found = next(filter(None, map(shutil.which, NAMES)), None)
    if found is None:
        with sync_playwright() as playwright:
            found = shutil.which(playwright.chromium.executable_path)
    assert found, f"these tests need a browser: apt-get install chromium, or set {VARIABLE}"
    return found


@contextmanager
def running_browser() -> Iterator[Browser]:
    """Start the browser, give it, and end it."""
    program = chromium()
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=program, args=QUIET)
        yield found
        found.close()
