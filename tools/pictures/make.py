"""Makes the README's pictures: the report, the labeling screen, the page."""

from __future__ import annotations

import asyncio
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

from triage.library import queries

HERE = Path(__file__).resolve().parent
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
)


def shoot(page: str, target: Path, width: int, height: int) -> None:
    """Take a picture of a page with chromium."""
    browser = shutil.which("chromium") or sys.exit("chromium is not installed: apt-get install chromium")
    with tempfile.TemporaryDirectory() as folder:
        shot = Path(folder) / "shot.png"
        subprocess.run(
            [
                browser,
                *FLAGS,
                f"--user-data-dir={folder}/profile",
                f"--window-size={width},{height}",
                f"--screenshot={shot}",
                page,
            ],
            check=True,
            capture_output=True,
        )
        with Image.open(shot) as image:
            image.convert("RGB").save(target, quality=82, optimize=True)


async def labeling_screen(library_path: Path, target: Path) -> None:
    """Draw the labeling screen with a photo, the grid and the machine's word."""
    from triage.label.order import questions
    from triage.library import Library
    from triage.terminal.ask import AskApp
    from triage.terminal.session import Session

    with Library.open(library_path) as library:
        asked = questions(library, by="ann", tags=["missing-hanger"])
        hangers = [one for one in asked if "hanger" in one.photo.name] or asked
        app = AskApp(Session(library, "ann", hangers))
        async with app.run_test(size=(110, 34)) as pilot:
            await pilot.pause(0.5)
            for key in ("g", "m"):
                await pilot.press(key)
                await pilot.pause(0.3)
            target.write_text(app.export_screenshot(title="deck-triage label ask"))


def page_of_a_deck(library_path: Path, folder: Path, target: Path) -> None:
    """Draw the page's first screen of the deck with the most photos: contact sheet and steps."""
    from playwright.sync_api import sync_playwright

    from triage.library import Library
    from triage.web.server import Running

    shutil.copytree(library_path, folder / "season-2026")
    with Library.open(folder / "season-2026") as library:
        deck = max(queries.decks(library), key=lambda one: (len(queries.photos(library, one)), one))
    browser = shutil.which("chromium") or sys.exit("chromium is not installed: apt-get install chromium")
    with Running(folder) as running, sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=browser, args=list(FLAGS))
        page = chromium.new_page(viewport={"width": 1280, "height": 820})
        page.goto(running.url)
        page.goto(f"http://127.0.0.1:{running.port}/l/season-2026/deck?d={deck}", wait_until="networkidle")
        shot = folder / "page.png"
        page.screenshot(path=shot)
        chromium.close()
    with Image.open(shot) as image:
        image.convert("RGB").save(target, quality=82, optimize=True)


def main(out: Path) -> None:
    """Make all pictures."""
    if not (out / "report" / "report.html").exists():
        sys.exit(f"There is no report in {out}: run tools/demo first.")
    report = (out / "report" / "report.html").resolve().as_uri()
    shoot(report, HERE / "report-first-page.jpg", 1000, 1180)
    with tempfile.TemporaryDirectory() as folder:
        page = worst_labeled_deck(out / "library", Path(folder))
        shoot(page.as_uri(), HERE / "report-deck.jpg", 1000, 1720)
    os.environ.setdefault("COLORTERM", "truecolor")
    with tempfile.TemporaryDirectory() as folder:
        svg = Path(folder) / "screen.svg"
        asyncio.run(labeling_screen(out / "library", svg))
        shoot(svg.as_uri(), HERE / "labeling-screen.jpg", 1360, 900)
    with tempfile.TemporaryDirectory() as folder:
        page_of_a_deck(out / "library", Path(folder), HERE / "page-deck.jpg")
    print("\n".join(str(path) for path in sorted(HERE.glob("*.jpg"))))


def worst_labeled_deck(library_path: Path, folder: Path) -> Path:
    """Write the page of the worst deck that a person has labeled, and return it."""
    from triage.assess import assess_library
    from triage.library import Library
    from triage.report import write_report

    with Library.open(library_path) as library:
        labeled = {
            photo.deck for photo in queries.photos(library) if queries.labels(library, photo=photo.sha)
        }
        worst = next(one for one in assess_library(library) if one.deck in labeled)
        files = write_report(library, [worst], folder, per_deck=True)
    return next(file for file in files if file.suffix == ".html" and worst.deck in file.name)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
