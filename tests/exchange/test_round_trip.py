"""A COCO file read back says the same: words, settlements, points, who asked and who saw what."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from exchange_helpers import TAG, put_photo
from long_runs import cases

from triage.assess import assess_library
from triage.exchange import export_library, read_labels_file
from triage.label.rows import give_labels, settle, store_rows
from triage.library import EventDraft, Library, queries


@pytest.fixture
def two(tmp_path: Path) -> Iterator[tuple[Library, Library]]:
    """One library with words of every form, and an empty one with the same photos."""
    with Library.create(tmp_path / "one") as one, Library.create(tmp_path / "other") as other:
        for library in (one, other):
            for name in ("a.jpg", "b.jpg", "c.jpg"):
                put_photo(library, "D-1", name)
        a, b, c = queries.photos(one, "D-1")
        give_labels(
            one,
            [(a, {TAG: "present"})],
            by="ann",
            boxes=[(0.125, 0.25, 0.25, 0.5)],
            place="joist 4",
            count=3,
            asked_by="doubtful",
            note="wet",
        )
        give_labels(one, [(a, {"missing-hanger": "present"})], by="ann", boxes=[(0.5, 0.5, 0, 0)])
        give_labels(one, [(b, {TAG: "unclear"})], by="ben", asked_by="random")
        give_labels(one, [(c, {TAG: "present"})], by="ann", saw_machine=True)
        give_labels(one, [(c, {TAG: "absent"})], by="ben", boxes=[(0.25, 0.25, 0.125, 0.125)])
        settle(one, c, TAG, "absent", by="cy", why="a shadow")
        yield one, other


def said(library: Library) -> list[object]:
    """Every label without its event and its library's own marks, and the words put together."""
    labels = [replace(one, event="") for one in queries.labels(library)]
    words = {key: (one.value, one.disputed, one.settled) for key, one in queries.words(library).items()}
    return [sorted(map(repr, labels)), words]


def brought(one: Library, other: Library, folder: Path, **how: bool) -> None:
    export_library(one, folder, "coco", pictures="none", **how)
    rows, aside = read_labels_file(other, folder / "coco.json")
    assert aside == []
    for _ in range(2):  # twice is once
        done = store_rows(other, rows, aside, by="reader")
    assert done.new == 0


def test_everything_comes_back(two: tuple[Library, Library], tmp_path: Path) -> None:
    one, other = two
    brought(one, other, tmp_path / "out", pseudonyms=False)
    assert said(other) == said(one)
    (settled,) = queries.statements(other, "settled")
    assert (settled.by, settled.payload["why"]) == ("cy", "a shadow")


def test_names_and_texts_stay_here_unless_asked_for(two: tuple[Library, Library], tmp_path: Path) -> None:
    one, other = two
    brought(one, other, tmp_path / "out")
    text = (tmp_path / "out" / "coco.json").read_text() + (tmp_path / "out" / "datasheet.md").read_text()
    for secret in ("ann", "ben", "joist 4", "wet", "a shadow"):
        assert f'"{secret}"' not in text
    assert {one.by[:7] for one in queries.labels(other)} == {"person-"}
    assert said(other)[1] == said(one)[1]
    export_library(one, tmp_path / "texts", "coco", pictures="none", with_text=True)
    assert "joist 4" in (tmp_path / "texts" / "coco.json").read_text()


def test_an_order_is_not_laundered_by_a_file(two: tuple[Library, Library], tmp_path: Path) -> None:
    one, other = two
    brought(one, other, tmp_path / "out")
    assert {label.asked_by for label in queries.labels(other)} == {"doubtful", "taken", "random"}
    data = json.loads((tmp_path / "out" / "coco.json").read_text())
    points = [row for row in data["annotations"] if "keypoints" in row]
    assert len(points) == 1
    assert points[0]["keypoints"][2] == 2
    for row in [*data["annotations"], *data["image_labels"]]:
        del row["asked_by"]
    (tmp_path / "bare.json").write_text(json.dumps(data))
    with Library.create(tmp_path / "third") as third:
        for name in ("a.jpg", "b.jpg", "c.jpg"):
            put_photo(third, "D-1", name)
        store_rows(third, *read_labels_file(third, tmp_path / "bare.json"), by="reader")
        assert {label.asked_by for label in queries.labels(third)} == {"unknown"}


def test_a_whole_or_empty_side_reads_the_same_after_a_rebuild(two: tuple[Library, Library]) -> None:
    """Canonical JSON writes 1.0 as 1: a report made before and after must not differ by that."""
    one, _ = two
    give_labels(
        one, [(queries.photos(one, "D-1")[1], {TAG: "present"})], by="dee", boxes=[(0.0, 0.0, 1.0, 1.0)]
    )
    before = said(one)
    one.rebuild()
    assert said(one) == before


SAMPLES = Path(__file__).resolve().parents[2] / "sample_photos"
EVERY = cases(10, 1)
DEMO_DECKS = sorted(one.name for one in (SAMPLES / "photos").iterdir())[2::EVERY]


def take_in_demo(library: Library) -> None:
    """Add the demo photos by their hashes and sizes, and the decks' facts; pictures are not looked at."""
    from PIL import Image

    said = []
    for file in sorted(one for one in (SAMPLES / "photos").rglob("*.jpg") if one.parent.name in DEMO_DECKS):
        sha = hashlib.sha256(file.read_bytes()).hexdigest()
        with Image.open(file) as picture:
            width, height = picture.size
        facts = {"sha": sha, "bytes": 1, "width": width, "height": height, "orientation": 1, "suffix": ".jpg"}
        place = {"sha": sha, "deck": file.parent.name, "visit": "2026-05-04", "name": file.name}
        said += [
            EventDraft("photo-added", facts | {"quality": {}}, "demo"),
            EventDraft("placed", place, "demo"),
        ]
    library.say_many(said)


def test_the_demo_library_comes_back_with_the_same_assessment(tmp_path: Path) -> None:
    """Every label of the demo decks (of a tenth of them in a usual run), out as COCO and in again."""
    from triage.label.files import read_csv_rows

    with Library.create(tmp_path / "one") as one, Library.create(tmp_path / "other") as other:
        take_in_demo(one)
        take_in_demo(other)
        rows, aside = read_csv_rows(SAMPLES / "labels.csv")
        rows = [row for row in rows if row.photo.split("/")[0] in DEMO_DECKS]
        store_rows(one, rows, aside, by="demo")
        settle_some_disputes(one)
        export_library(one, tmp_path / "out", "coco", pictures="none", pseudonyms=False)
        read, aside = read_labels_file(other, tmp_path / "out" / "coco.json")
        assert aside == []
        store_rows(other, read, aside, by="reader")
        before, after = ([row.to_json() for row in assess_library(each)] for each in (one, other))
        assert len(before) == len(DEMO_DECKS)
        assert sum(bool(row["concerns"]) for row in before) > len(DEMO_DECKS) // 2
        assert after == before


def settle_some_disputes(library: Library) -> None:
    """Second people who see nothing where something is, and a settlement of every other dispute."""
    present = [word for word in queries.words(library).values() if word.value == "present"]
    photos = {photo.sha: photo for photo in queries.photos(library)}
    for number, word in enumerate(present[::20]):
        photo = photos[word.photo]
        give_labels(library, [(photo, {word.tag: "absent"})], by="ben", asked_by="second-look")
        if number % 2:
            settle(library, photo, word.tag, "present", by="cy", why="looked twice")
