"""The report in a real browser: what axe-core finds, nothing fetched, nothing said to the console."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.report.report_made import busy_deck, concern, made, summary
from tests.report.test_report_files import html_of
from tests.web.browsing import axe_faults, launched


@pytest.fixture(scope="module")
def browser():
    with launched() as one:
        yield one


def pages() -> dict[str, bytes]:
    deck, record = busy_deck()
    empty = summary("elm-07")
    stopped = replace(deck, tier="stop-use", concerns=(concern(tier="stop-use"), *deck.concerns))
    return {
        "busy": html_of(made((deck, record))),
        "stop-use": html_of(made((stopped, record))),
        "nothing seen": html_of(made((empty, record))),
    }


@pytest.mark.parametrize("which", ["busy", "stop-use", "nothing seen"])
@pytest.mark.parametrize("width", [1280, 390])
def test_axe_finds_nothing_and_the_page_asks_for_nothing(browser, tmp_path: Path, which: str, width: int):
    file = tmp_path / "report.html"
    text = pages()[which]
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    page = browser.new_page(viewport={"width": width, "height": 900})
    asked, said = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.goto(file.as_uri())
    assert axe_faults(page) == []
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert said == []
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wide <= 0, "the page scrolls sideways"
    page.close()
