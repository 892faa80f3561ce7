"""A real browser for the tests: Debian's chromium, driven by Playwright."""

from __future__ import annotations

import os
import shutil
from contextlib import contextmanager
from pathlib import Path

import pytest

FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
PATIENCE_MS = 60_000
"""How long a test waits for what should be there at once: a busy machine takes its time."""
AXE = (Path(__file__).parent / "vendor" / "axe-4.14.1.min.js").read_text()
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def chromium() -> str:
    """Return the browser's path; without one the test is skipped, in CI it fails."""
    found = shutil.which("chromium")
    if found is None:
        reason = "there is no chromium here: apt-get install chromium"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    return found


@contextmanager
def launched():
    """A running browser."""
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=list(FLAGS))
        try:
            yield browser
        finally:
            browser.close()


def drawn(picture) -> None:
    """Wait until an image on the page has come.

    Asked from outside: the page's rules let nobody evaluate text in it, and Playwright's own
    waiting for a function does so from its second look on.
    """
    from playwright.sync_api import expect

    expect(picture).to_have_js_property("complete", True)
    expect(picture).not_to_have_js_property("naturalWidth", 0)


def axe_faults(page) -> list[str]:
    """Return what axe finds wrong on a page, one line per rule with the first place."""
    page.evaluate(AXE)
    options = {"runOnly": {"type": "tag", "values": RULES}, "resultTypes": ["violations"]}
    found = page.evaluate("options => axe.run(document, options)", options)["violations"]
    return [f"{one['id']}: {one['help']}: {one['nodes'][0]['html'][:200]}" for one in found]


class Visitor:
    """One browser window that was let in; everything that goes wrong in it is collected."""

    def __init__(self, browser, running, by="", size=(1280, 800)) -> None:
        self.running = running
        self.context = browser.new_context(viewport={"width": size[0], "height": size[1]})
        self.context.set_default_timeout(PATIENCE_MS)
        self.page = self.context.new_page()
        self.faults: list[str] = []
        self.page.on("pageerror", lambda error: self.faults.append(f"error: {error}"))
        self.page.on(
            "dialog", lambda dialog: (self.faults.append(f"dialog: {dialog.message}"), dialog.dismiss())
        )
        self.page.on("console", self._heard)
        self.page.goto(running.url)
        if by:
            self.speak_as(by)

    def _heard(self, message) -> None:
        if message.type in ("error", "warning"):
            self.faults.append(f"console: {message.text}")

    def speak_as(self, by: str) -> None:
        if not self.page.locator(".drop").is_visible():
            self.page.click(".speaker summary")
        self.page.fill(".drop input[name=name]", by)
        with self.page.expect_navigation():
            self.page.click(".drop button")

    def go(self, where: str):
        self.page.goto(f"http://127.0.0.1:{self.running.port}{where}")
        return self.page

    def said(self, text: str) -> None:
        """Wait until the page has said something."""
        self.page.locator("#said p", has_text=text).first.wait_for()

    def axe(self) -> list[str]:
        """Return what axe finds wrong on the page, one line per rule with the first place."""
        return axe_faults(self.page)

    def close(self) -> None:
        self.context.close()
        assert self.faults == []
