"""The day's walk on the page: seen, dragged, split, joined, named, dated, and taken back."""

from __future__ import annotations

import shutil

import pytest
from common import SAMPLES
from long_runs import cases
from playwright.sync_api import expect

from tests.web.browsing import Visitor
from triage.ingest import ingest
from triage.ingest.exif import read_exif
from triage.ingest.timeline import day_of, days_of, shift
from triage.library import Library, queries

DAY = "2026-05-04"
DECKS_OF_HEAP = cases(4, 12)


@pytest.fixture
def walked(library, photo_maker, tmp_path):
    """A third deck an hour later, half a mile away."""
    for number in range(4):
        photo_maker(
            tmp_path / "more" / "D-30" / f"IMG_06{number:02}.jpg",
            seed=3000 + number,
            exif={
                271: "Invented",
                272: "Phone 1",
                "taken_at": f"2026:05:04 11:{10 + number}:00",
                "gps": (44.3 + number * 1e-5, -86.9),
            },
        )
    ingest(library, [tmp_path / "more"], by="ann", engine="here")
    return library


def test_a_day_has_a_lane_a_phone_and_a_bar_a_stay(walked):
    assert days_of(walked) == [(DAY, 10)]
    day = day_of(walked, DAY)
    (lane,) = day.lanes
    assert lane.phone == "Invented Phone 1"
    assert lane.bars[-1].deck == "D-30"
    assert len(lane.bars[-1].photos) == 4
    assert [dot.deck for dot in day.dots] == ["D-30"]
    assert "44.3" not in repr(day)


def test_the_page_shows_the_walk_and_its_forms_are_acts(page, walked):
    text = page.get("/l/library/timeline").text
    assert 'id="timeline"' in text
    assert "44.3" not in text
    send = lambda **given: page.form("/l/library/timeline/act", day=DAY, **given)  # noqa: E731
    assert send(how="rename", deck="D-30", name="30-back").status == 303
    photos = queries.photos(walked, "30-back")
    shas = ",".join(photo.sha for photo in photos)
    assert send(how="split", deck="30-back", first=photos[2].sha, photos=shas, name="31").status == 303
    assert [photo.name for photo in queries.photos(walked, "31")] == ["IMG_0602.jpg", "IMG_0603.jpg"]
    assert send(how="join", deck="30-back", other="31").status == 303
    assert len(queries.photos(walked, "30-back")) == 4
    assert send(how="visit", deck="30-back", before=DAY, visit="2026-05-05").status == 303
    assert queries.visits(walked, "30-back") == ["2026-05-05"]
    for _ in range(4):
        page.json("/l/library/undo", {})
    assert len(queries.photos(walked, "D-30")) == 4
    assert queries.visits(walked, "D-30") == [DAY]
    assert send(how="nothing", deck="D-30").status == 400
    assert send(how="split", deck="D-30", first=photos[2].sha, photos="", name="31").status == 400


def test_a_boundary_moves_photos_between_neighbors_as_one_act(walked):
    lane = day_of(walked, DAY).lanes[0]
    left, right = lane.bars[-2].deck, "D-30"
    at = lane.bars[-1].photos[2]
    second = 11 * 3600 + 11 * 60 + 30
    count = shift(walked, DAY, lane.phone, left, right, second, by="ann")
    assert count == 2
    assert at.sha in {photo.sha for photo in queries.photos(walked, "D-30")}
    assert len(queries.photos(walked, "D-30")) == 2
    walked.undo("ann")
    assert len(queries.photos(walked, "D-30")) == 4


def test_a_boundary_is_dragged_in_the_browser(browser, running, walked):
    visitor = Visitor(browser, running, "ann")
    page = visitor.go("/l/library/timeline")
    handle = page.locator(".handle[data-right='D-30']")
    box, drawing = handle.bounding_box(), page.locator("#timeline").bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(drawing["x"] + drawing["width"] * 0.965, box["y"] + 10, steps=5)
    page.mouse.up()
    expect(page.locator(".told")).to_contain_text("moved between")
    with Library.open(walked.path) as library:
        assert 0 < len(queries.photos(library, "D-30")) < 4
    visitor.context.close()


def test_a_heap_sent_from_the_browser_becomes_decks(browser, running, library, tmp_path):
    """The demo's photos of several decks in one folder with a camera's name: chosen, and they are decks."""
    heap = tmp_path / "DCIM"
    heap.mkdir()
    decks = sorted((SAMPLES / "photos").iterdir())[:DECKS_OF_HEAP]
    taken = sorted(
        (read_exif(path).camera, read_exif(path).taken_at, path)
        for deck in decks
        for path in deck.rglob("*.jpg")
    )
    for number, (_, _, path) in enumerate(taken, 1000):
        shutil.copy(path, heap / f"IMG_{number}.jpg")
    visitor = Visitor(browser, running, "ann")
    page = visitor.go("/l/library/")
    page.click("text=Add photos >> nth=0")
    page.set_input_files("#folder", str(heap))
    expect(page.locator("#came")).to_contain_text(f"{len(taken)} photos taken in", timeout=120_000)
    expect(page.locator("#came")).to_contain_text(f"Time and place made {len(decks)} decks")
    found = sorted(
        len(queries.photos(library, deck)) for deck in queries.decks(library) if deck.startswith("2026-05")
    )
    assert found == sorted(len(list(deck.rglob("*.jpg"))) for deck in decks)
    page.click("text=To the decks")
    expect(page.locator("#order")).to_contain_text("2026-05-04-1")
    visitor.context.close()
