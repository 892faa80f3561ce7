"""How many acts a person needs to answer a library deck by deck on the page, counted in a real browser.

`tools/bench/run page_acts` drives the page over the invented demo decks as somebody who knows the truth: it
marks on the contact sheet the parts that are asked for, then looks closely for each core tag and clicks the
spots, scrolling by screens. It hides the definition once, for more photos on a screen, and goes from an
answered deck to the next as the page leads. An act is a click, with Shift or Control too, a choice in a list,
or a scroll by a screen. How long a person looks no script can count: 90 minutes divided by the acts is
printed, and what comes of two assumptions. What it prints for 600 photos of 30 decks is extrapolated from
these decks and says so.
"""

from __future__ import annotations

import argparse
import csv
import json
import shutil
import sys
import tempfile
import time
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np
from playwright.sync_api import Locator, Page, sync_playwright

from triage.ingest import ingest
from triage.library import Library, queries
from triage.web.server import Running

SAMPLES = Path(__file__).resolve().parents[2] / "sample_photos"
SCREEN = {"width": 1280, "height": 800}
HEADER_PX = 140
"""What a scroll leaves of the screen before, so that nothing is passed over."""
FOOT_PX = 70
"""What the bar with the buttons covers at the bottom of the screen."""
SECONDS_AN_ACT = 1.1
"""Pointing and clicking: about 1.1 s (Card, Moran and Newell's keystroke-level model, 1980; from memory)."""
SECONDS_A_LOOK = 0.5
"""Our assumption: how long one photo is looked at for one tag, besides the acts."""
_MOST_SCREENS = 60
_PATIENCE_MS = 240_000
"""A busy machine may take this long to answer; nothing that is counted depends on it."""
CORE_PARTS = {
    "missing-hanger": "hanger",
    "rusted-connector": "connector",
    "nail-only-ledger": "ledger",
    "debris-at-flashing": "flashing",
    "side-bolted-beam": "beam",
}
_SCROLLED = """() => [scrollY, [".panel", ".partsets"].map((one) => document.querySelector(one))
    .map((one) => (one ? one.scrollTop : 0)).join()]"""
Truth = dict[tuple[str, str], dict[str, str]]


class Counted:
    """The page, with every act counted by its kind."""

    def __init__(self, page: Page, base: str) -> None:
        self.page, self.base = page, base
        self.acts: Counter[str] = Counter()
        self.looks = 0
        self.in_panel = 0
        """Clicks before which the panel or its list of sets had to be scrolled: no act, counted apart."""
        self.more = False
        self.where = "the contact sheet"
        """What is being done: scrolls are counted by it."""
        self.parts: dict[tuple[str, str], dict[str, str]] = {}

    def leave(self, where: Locator, kind: str) -> None:
        """Click something that is on the screen and leads to another page, and count it."""
        where.click()
        self.acts[kind] += 1

    def click(self, where: Locator, kind: str, **more: Any) -> None:
        """Click something and count it; a jump of the page to it counts as the scrolls that it takes."""
        before, inside = self.page.evaluate(_SCROLLED)
        where.click(**more)
        self.acts[kind] += 1
        now, inside_now = self.page.evaluate(_SCROLLED)
        moved = abs(now - before)
        self.in_panel += inside_now != inside
        self.acts[f"scroll on {self.where}"] += round(moved / (SCREEN["height"] - HEADER_PX) + 0.49)

    def top(self) -> None:
        """Go back to the top: one act where the page was scrolled (the Home key)."""
        if self.page.evaluate("scrollY") > 0:
            self.page.evaluate("scrollTo(0, 0)")
            self.acts[f"scroll on {self.where}"] += 1

    def settled(self) -> None:
        """Wait until every picture that is mostly on the screen was there long enough to be seen."""
        for _ in range(600):
            waiting = self.page.evaluate(
                """() => [...document.querySelectorAll('.tile[data-seen=no]')].filter((one) => {
                    const box = one.getBoundingClientRect();
                    const bar = document.querySelector('.endofgroup');
                    const foot = bar ? Math.round(bar.getBoundingClientRect().height) : 0;
                    const inside = Math.min(box.bottom, innerHeight - foot) - Math.max(box.top, 0);
                    return one.checkVisibility() && inside >= 0.61 * box.height;
                }).length"""
            )
            if not waiting:
                return
            self.page.wait_for_timeout(50)
        raise RuntimeError("a picture on the screen never counted as seen")

    def screens(self) -> Any:
        """Yield at every screen of the page from its top on, scrolling between them.

        It ends where the page ends, or where every photo that is to be looked at was seen: the button that
        says so is always on the screen. What is asked of `yield` may ask for a further screen (`more`).
        """
        for _ in range(_MOST_SCREENS):
            self.settled()
            self.more = False
            yield
            unseen = self.page.evaluate(
                """() => [...document.querySelectorAll('.tile:not([data-seen=yes])')].filter(
                    (one) => one.checkVisibility() && !one.closest('[data-group=without]')).length"""
            )
            if not unseen and not self.more:
                return
            down = self.page.evaluate("document.documentElement.scrollHeight - innerHeight - scrollY")
            if down <= 1:
                return
            self.page.mouse.wheel(0, SCREEN["height"] - HEADER_PX)
            self.acts[f"scroll on {self.where}"] += 1
            self.page.wait_for_timeout(80)
        raise RuntimeError("the page has no end")


def answer_deck(one: Counted, deck: str, truth: dict[str, dict[str, str]]) -> None:
    """Answer the deck whose contact sheet is shown: its parts, then its core tags, to its summary."""
    page = one.page
    one.where = "the contact sheet"
    names = [name.strip() for name in page.locator(".tile .cap a").all_inner_texts()]
    tiles = len(names)
    for _ in one.screens():
        pass
    one.looks += tiles
    one.top()
    asked = page.locator(".panel > .parts [data-part]").evaluate_all(
        "all => all.map((one) => one.dataset.part)"
    )
    shown = [shown_parts(truth[name], asked) for name in names]
    mark_parts(one, shown)
    one.parts |= {
        (deck, name): {part: said.get(part, "absent") for part in asked}
        for name, said in zip(names, shown, strict=True)
    }
    here = page.url
    one.click(page.locator("[data-rest]"), "looked at all")
    page.wait_for_url(lambda url: url != here, wait_until="load")
    while "/look?" in page.url:
        here = page.url
        looked = page.locator(".looks:not([data-group=without]) .lookat").count()
        look(one, truth)
        page.wait_for_url(lambda url, here=here: url != here, wait_until="load")
        one.looks += looked


def shown_parts(said: dict[str, str], asked: list[str]) -> dict[str, str]:
    """Return how a photo shows the parts that are asked.

    A part of which nobody can tell a core tag shows poorly.
    """
    poorly = {CORE_PARTS[tag] for tag in CORE_PARTS if said.get(tag) == "unclear"}
    found = {part: said.get(f"shows-{part}", "absent") for part in asked}
    return {
        part: "unclear" if value == "absent" else value
        for part, value in found.items()
        if value != "absent" or part in poorly
    }


def mark_parts(one: Counted, shown: list[dict[str, str]]) -> None:
    """Say which parts the photos show, those that show the same ones together, in the way of fewest clicks.

    Either the photos are chosen (runs by Shift-click) and given a set of parts that was used before and
    further parts; or parts are held, from a set or changed from what was held last, and given to each photo
    that is clicked. A part that shows poorly is a click with Shift.
    """
    page = one.page
    held: dict[str, str] = {}
    chosen = False
    for parts in dict.fromkeys(tuple(sorted(photo.items())) for photo in shown if photo):
        runs = _runs([tuple(sorted(photo.items())) == parts for photo in shown])
        given = page.locator("[data-set]").evaluate_all("all => all.map((one) => one.dataset.set)")
        sets: list[dict[str, str]] = [json.loads(row) for row in given]
        wanted = dict(parts)
        first = _sets_first(sets, wanted)
        near = min(sets, key=lambda row: len(_changes(row, wanted)), default=None)
        cost_chosen = len(first) + len(wanted) - sum(len(sets[place]) for place in first) + bool(held)
        cost_near = 1 + len(_changes(near, wanted)) if near is not None else len(wanted) + 99
        cost_held = len(_changes(held, wanted)) if held else len(wanted) + 99
        if cost_chosen <= min(cost_near, cost_held):
            if held:
                one.click(page.locator("[data-drop]"), "hold no part")
                held = {}
            _choose_then_say(one, runs, sets, first, wanted)
            chosen = True
            continue
        if near is not None and cost_near < cost_held:
            chosen = False  # a set after a set is held, and drops the choice
            one.click(page.locator("[data-set]").nth(sets.index(near)), "a set of parts")
            held = near
        elif chosen:
            one.click(page.locator("[data-choose=none]"), "choose none")
            chosen = False
        for part, value in _changes(held, wanted):
            _click_part(one, part, value)
        held = wanted
        _give_to(one, runs)


def _changes(held: dict[str, str], wanted: dict[str, str]) -> list[tuple[str, str]]:
    """Return the clicks that lead from the parts that are held to those that are wanted."""
    off = [(part, value) for part, value in held.items() if part not in wanted]
    return off + [(part, value) for part, value in sorted(wanted.items()) if held.get(part) != value]


def _sets_first(sets: list[dict[str, str]], wanted: dict[str, str]) -> list[int]:
    """Return the place of the largest set that is given whole; none with anything else.

    A second set would be held for the photos that are clicked next.
    """
    left = set(wanted.items())
    fits = [place for place, row in enumerate(sets) if len(row) > 1 and set(row.items()) <= left]
    return [max(fits, key=lambda place: len(sets[place]))] if fits else []


def _click_part(one: Counted, part: str, value: str) -> None:
    modifiers = ["Shift"] if value == "unclear" else []
    one.click(one.page.locator(f"[data-part={part}]"), "these show it", modifiers=modifiers)


def _choose_then_say(
    one: Counted,
    runs: list[tuple[int, int]],
    sets: list[dict[str, str]],
    first: list[int],
    wanted: dict[str, str],
) -> None:
    page, pictures = one.page, one.page.locator(".pick img")
    for number, (start, end) in enumerate(runs):
        one.click(pictures.nth(start), "choose", modifiers=["Control"] if number else [])
        if end > start:
            one.click(pictures.nth(end), "choose", modifiers=["Shift"])
    left = dict(wanted)
    for place in first:
        one.click(page.locator("[data-set]").nth(_place_of(page, sets[place])), "a set of parts")
        page.locator("#chosen", has_text="Another part").wait_for()
        left = {part: value for part, value in left.items() if part not in sets[place]}
    for part, value in sorted(left.items()):
        _click_part(one, part, value)
        page.wait_for_timeout(60)
        page.locator("#chosen", has_text="Another part").wait_for()


def _place_of(page: Page, parts: dict[str, str]) -> int:
    """Return where a set stands in the list now: it is ordered again after every answer."""
    rows = page.locator("[data-set]").evaluate_all("all => all.map((one) => one.dataset.set)")
    return [json.loads(row) for row in rows].index(parts)


def _give_to(one: Counted, runs: list[tuple[int, int]]) -> None:
    """Click the photos that show the held parts, runs by Shift-click; each is saved before the next."""
    pictures = one.page.locator(".pick img")
    for start, end in runs:
        for place, modifiers in ((start, []), (end, ["Shift"])) if end > start else ((start, []),):
            with one.page.expect_response(lambda answer: answer.url.endswith("/parts")):
                one.click(pictures.nth(place), "choose", modifiers=modifiers)
            one.page.wait_for_timeout(30)


def _runs(chosen: list[bool]) -> list[tuple[int, int]]:
    """Return the first and last place of every run of photos that are chosen."""
    edges = np.flatnonzero(np.diff(np.array([False, *chosen, False]).astype(int)))
    return [(int(start), int(end) - 1) for start, end in zip(edges[::2], edges[1::2], strict=True)]


def look(one: Counted, truth: dict[str, dict[str, str]]) -> None:
    """Scroll through the photos, click what shows the tag asked for, then say that all were looked at."""
    page = one.page
    tag = page.locator("#closely").get_attribute("data-tag") or ""
    done: set[str] = set()
    one.where = "a close look"
    page.locator("#closely").wait_for()
    if page.locator("[data-meaning=hide]").is_visible():
        one.click(page.locator("[data-meaning=hide]"), "hide the definition")
    for _ in one.screens():
        for tile in page.locator(".looks:not([data-group=without]) .lookat").all():
            name = tile.get_attribute("data-name") or ""
            value = truth[name].get(tag)
            if name in done or value not in ("present", "unclear"):
                continue
            where = tile.locator(".shotframe" if value == "present" else "[data-toggle=unclear]")
            spot = _spot(where, truth[name], tag) if value == "present" else None
            if not _on_screen(where, spot):
                one.more = True
                continue
            done.add(name)
            if spot is not None:
                one.click(where, "mark the spot", position=spot)
            else:
                one.click(where, "cannot tell")
    one.leave(page.locator("[data-looked=all]"), "looked at all")


def _on_screen(where: Locator, spot: dict[str, float] | None) -> bool:
    box = where.bounding_box()
    assert box is not None
    y = box["y"] + (spot["y"] if spot else box["height"] / 2)
    return 8 < y < SCREEN["height"] - FOOT_PX


def _spot(frame: Locator, said: dict[str, str], tag: str) -> dict[str, float]:
    """Return where on the tile's picture the truth's box has its middle."""
    size = frame.bounding_box()
    assert size is not None
    x, y, w, h = (float(part) for part in said[f"box {tag}"].split(";")[0].split(","))
    return {"x": (x + w / 2) * size["width"], "y": (y + h / 2) * size["height"]}


def read_truth() -> dict[str, dict[str, dict[str, str]]]:
    """Return deck -> photo -> tag -> value, and `box <tag>` -> its boxes."""
    truth: dict[str, dict[str, dict[str, str]]] = defaultdict(lambda: defaultdict(dict))
    with (SAMPLES / "labels.csv").open() as file:
        for row in csv.DictReader(file):
            said = truth[row["deck"]][row["photo"].split("/", 1)[1]]
            said[row["tag"]] = row["value"]
            said[f"box {row['tag']}"] = row["box"] or "0.5,0.5,0,0"
    return truth


def walk(folder: Path, decks: list[str]) -> dict[str, Any]:
    """Make a library of the decks, answer it in the browser, and compare the labels with the truth."""
    truth = read_truth()
    for deck in decks:
        shutil.copytree(SAMPLES / "photos" / deck, folder / "card" / deck)
    with Library.create(folder / "home" / "acts") as library:
        ingest(library, [folder / "card"], by="bench")
    started = time.monotonic()
    rows = []
    with Running(folder / "home") as running, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        page = browser.new_page(viewport=SCREEN)
        page.set_default_timeout(_PATIENCE_MS)
        page.goto(running.url)
        page.fill("main .who input[name=name]", "bench")
        with page.expect_navigation():
            page.click("main .who button")
        one = Counted(page, f"http://127.0.0.1:{running.port}/l/acts")
        page.goto(f"{one.base}/deck?d={quote(decks[0])}")
        for deck in decks:
            before = sum(one.acts.values())
            answer_deck(one, deck, truth[deck])
            following = decks[decks.index(deck) + 1] if deck != decks[-1] else ""
            if following and f"/deck?d={quote(following)}&" not in page.url:
                one.leave(page.locator("a", has_text="Next deck"), "next")
                page.wait_for_load_state()
            rows.append((len(truth[deck]), sum(one.acts.values()) - before))
            print(f"{deck}: {rows[-1][1]} acts, {rows[-1][0]} photos", file=sys.stderr, flush=True)
        browser.close()
    with Library.open(folder / "home" / "acts") as library:
        found = result(library, one, truth) | {"browser_s": round(time.monotonic() - started, 1)}
    return found | extrapolated(rows, one.looks)


def result(library: Library, one: Counted, truth: Any) -> dict[str, Any]:
    """Return the counts, and how many core answers differ from the truth or were not given (none should)."""
    core = library.vocabulary().core
    photos = queries.photos(library)
    said = {(label.photo, label.tag): label.value for label in queries.labels(library)}
    pairs = [
        (said.get((photo.sha, tag)), truth[photo.deck][photo.name][tag]) for photo in photos for tag in core
    ]
    acts = sum(one.acts.values())
    parts = [
        (photo, part, value)
        for photo in photos
        for part, value in one.parts[photo.deck, photo.name].items()
        if said.get((photo.sha, f"shows-{part}")) != value
    ]
    wrong = [f"{photo.path_name} shows-{part}: not {value}" for photo, part, value in parts]
    wrong += [
        f"{photo.path_name} {tag}: {said.get((photo.sha, tag))}, not {truth[photo.deck][photo.name][tag]}"
        for photo in photos
        for tag in core
        if said.get((photo.sha, tag)) != truth[photo.deck][photo.name][tag]
    ]
    return {
        "wrong": wrong[:20],
        "decks": len(queries.decks(library)),
        "photos": len(photos),
        "acts": dict(one.acts),
        "acts_in_all": acts,
        "acts_a_photo": round(acts / len(photos), 2),
        "acts_a_core_answer": round(acts / len(pairs), 3),
        "looks": one.looks,
        "scrolls_within_the_panel_not_counted": one.in_panel,
        "core_answers": sum(value is not None for value, _ in pairs),
        "differ_from_the_truth": sum(value is not None and value != true for value, true in pairs),
        "not_answered": sum(value is None for value, _ in pairs),
        "parts_said": sum(len(row) for row in one.parts.values()),
        "parts_that_differ": len(parts),
    }


def extrapolated(rows: list[tuple[int, int]], looks: int) -> dict[str, Any]:
    """Return what these decks' acts come to for 600 photos of 30 decks: acts = a per deck + b per photo."""
    photos, acts = np.array(rows, dtype=float).T
    if len(rows) < 3 or np.ptp(photos) == 0:
        return {"extrapolated": "too few decks to tell acts of a deck from acts of a photo"}
    a_photo, a_deck = (float(value) for value in np.polyfit(photos, acts, 1))
    total = 30 * a_deck + 600 * a_photo
    all_looks = looks / float(photos.sum()) * 600
    minutes = (total * SECONDS_AN_ACT + all_looks * SECONDS_A_LOOK) / 60
    return {
        "extrapolated": f"600 photos of 30 decks, a line through {len(rows)} decks of {photos.min():.0f} to "
        f"{photos.max():.0f} photos: {a_deck:.1f} acts a deck, {a_photo:.2f} a photo, {total:.0f} acts; "
        f"90 minutes leave {5400 / total:.1f} s an act, looking included (extrapolated, not tried)",
        "extrapolated_minutes": f"{minutes:.0f} with {SECONDS_AN_ACT} s an act and {SECONDS_A_LOOK} s for "
        f"each of {all_looks:.0f} looks at one photo for one thing (our assumption, not tried with people)",
    }


def main() -> None:
    """Run and print one JSON document."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--decks", type=int, default=100, help="At most so many of the demo decks.")
    given = parser.parse_args()
    decks = sorted(one.name for one in (SAMPLES / "photos").iterdir() if one.is_dir())[: given.decks]
    with tempfile.TemporaryDirectory() as scratch:
        print(json.dumps(walk(Path(scratch), decks), indent=2))


if __name__ == "__main__":
    main()
