"""Builds the folder in which the examples of the help are run."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

from common import draw_photo
from flat_card import card_photo, save_photo

from triage.assess.said import warn
from triage.ingest import ingest
from triage.label.rows import give_labels
from triage.library import Library, queries
from triage.slate.card import Card, library_code
from triage.structure.telling import set_facts

FACTS = """
[decks."D-17"]
joist_size = "2x8"
joist_spacing_in = 16
joist_span_ft = 9.0
species = "southern-pine"
height_above_grade_ft = 6.5
"""


def build_stage(folder: Path) -> Path:
    """Make a card, a labeled and presorted library season-2026, and the files that examples name."""
    folder.mkdir(parents=True)
    _card(folder)
    with Library.create(folder / "season-2026") as library:
        ingest(library, [folder / "card"], by="ann", engine="here")
        _second_visit(library, folder)
        _label(library)
        (folder / "hash.txt").write_text(queries.find_photo(library, "D-17/IMG_0412.jpg").sha)
        (folder / "event.txt").write_text(queries.labels(library)[-1].event)
        _files(library, folder)
    return folder


def _card(folder: Path) -> None:
    for deck, first in (("D-17", 10), ("D-18", 40), ("D-20", 70), ("D-21", 100)):
        for number in range(12, 18):
            draw_photo(
                folder / "card" / deck / f"IMG_04{number}.jpg",
                seed=first + number,
                exif={271: "Invented", 272: "Phone", "taken_at": f"2026:05:04 10:{number}:00"},
            )
    draw_photo(folder / "IMG_0412.jpg", seed=999)
    (folder / "day.csv").write_text("name,time\nD-17,2026-05-04T10:00\n")
    with zipfile.ZipFile(folder / "card.zip", "w") as archive:
        for path in sorted((folder / "card").rglob("*.jpg")):
            archive.write(path, path.relative_to(folder / "card"))


def _second_visit(library: Library, folder: Path) -> None:
    shown = card_photo(Card(library_code(library.id), "D-17"))
    save_photo(folder / "again" / "IMG_0440.jpg", shown, "2026:09:01 09:30:00")
    for name, seed in (("after", 777), ("b", 778)):
        draw_photo(folder / "again" / f"{name}.jpg", seed=seed, exif={"taken_at": "2026:09:01 09:00:00"})
    ingest(library, [folder / "again"], by="ann", deck="D-17", engine="here")
    draw_photo(folder / "first" / "a.jpg", seed=779, exif={"taken_at": "2026:05:04 12:00:00"})
    draw_photo(folder / "first" / "IMG_0431.jpg", seed=780, exif={"taken_at": "2026:05:04 12:30:00"})
    ingest(library, [folder / "first"], by="ann", deck="D-17", engine="here")


def _label(library: Library) -> None:
    for deck in ("D-17", "D-18", "D-20", "D-21"):
        for index, photo in enumerate(queries.photos(library, deck)):
            repaired = photo.visit == "2026-09-01"
            one, other = (("present", "absent"), ("absent", "present"))[1 if repaired else index % 2]
            one = "present" if photo.name == "a.jpg" else one
            for by in ("ann", "ben"):
                answers = {"missing-hanger": one, "shows-hanger": "present", "rusted-connector": other}
                give_labels(library, [(photo, answers)], by=by)


def _files(library: Library, folder: Path) -> None:
    from triage.assess import assess_library
    from triage.label.rows import labels_file
    from triage.library.backup import backup
    from triage.presort.of_library import presort_library
    from triage.report import write_repairs, write_report
    from triage.train.of_library import train_library

    (folder / "own-tags.toml").write_text(
        '[[tag]]\ntag = "wasp-nest"\nkind = "defect"\ndefinition = "A nest of wasps."\n'
    )
    (folder / "facts.toml").write_text(FACTS)
    (folder / "facts.csv").write_text("deck,visit,key,value\nD-17,,joist_size,2x8\n")
    labels_file(library, folder / "labels.csv")
    (folder / "coco.json").write_text(json.dumps(_coco()))
    (folder / "categories.toml").write_text('[categories]\nhanger-gone = "missing-hanger"\n')
    train_library(library, by="ann")
    presort_library(library, by="ann")
    write_report(library, assess_library(library), folder / "report")
    write_repairs(library, folder / "crew.csv")
    backup(library, folder / "season.backup")


def _coco() -> dict[str, object]:
    return {
        "images": [{"id": 1, "file_name": "D-17/IMG_0412.jpg", "width": 320, "height": 240}],
        "categories": [{"id": 1, "name": "hanger-gone"}],
        "annotations": [{"id": 1, "image_id": 1, "category_id": 1, "bbox": [10, 10, 40, 40]}],
    }


def prepare(library: Library, line: str) -> None:
    """Record what the acts of some examples need: a dispute, repairs to close, all answers to issue."""
    if "close D-17 missing-hanger" in line:
        _one_hanger_and_its_repair(library)
    elif "close D-17 nail-only-ledger" in line:
        _nails_and_their_repair(library)
    elif "lift D-17" in line:
        warn(library, "D-17", told="the owner", how="by phone", at="2026-05-04T15:00", by="ann")
        for by in ("ann", "ben"):
            give_labels(
                library,
                [(queries.find_photo(library, "D-17/after.jpg"), {"rusted-connector": "absent"})],
                by=by,
            )
    elif "settle D-17/IMG_0412.jpg" in line:
        give_labels(
            library,
            [(queries.find_photo(library, "D-17/IMG_0412.jpg"), {"missing-hanger": "absent"})],
            by="ben",
        )
        give_labels(
            library,
            [(queries.find_photo(library, "D-17/IMG_0412.jpg"), {"missing-hanger": "present"})],
            by="ann",
        )
    elif "--letter" in line or "--issue" in line:
        _answer_everything(library)


def _one_hanger_and_its_repair(library: Library) -> None:
    for photo in queries.photos(library, "D-17"):
        answer = {"missing-hanger": "present" if photo.name == "a.jpg" else "absent"}
        place = "joist 4" if photo.name in ("a.jpg", "b.jpg") else None
        for by in ("ann", "ben"):
            give_labels(library, [(photo, answer)], by=by, place=place)


def _nails_and_their_repair(library: Library) -> None:
    set_facts(library, "D-17", {"height_above_grade_ft": "2"}, by="ann")
    for photo in queries.photos(library, "D-17"):
        for by in ("ann", "ben"):
            give_labels(library, [(photo, {"missing-hanger": "absent"})], by=by)
    folder = library.path.parent / "nails"
    for name, seed, answer, day in (("c", 781, "present", "05:04"), ("d", 782, "absent", "09:01")):
        when = {"taken_at": f"2026:{day} 13:00:00"}
        draw_photo(folder / name / f"{name}.jpg", seed=seed, exif=when)
        ingest(library, [folder / name], by="ann", deck="D-17", engine="here")
        answers = {"nail-only-ledger": answer, "shows-ledger": "present"}
        give_labels(
            library, [(queries.find_photo(library, f"D-17/{name}.jpg"), answers)], by="ann", place="left end"
        )


def _answer_everything(library: Library) -> None:
    from triage.report.ready import blocking

    elements = [tag for tag, one in library.vocabulary().tags.items() if one.kind == "element"]
    for deck in queries.decks(library):
        first, *_ = queries.photos(library, deck)
        give_labels(library, [(first, dict.fromkeys(elements, "present"))], by="ann")
        for photo in queries.photos(library, deck):
            core = [
                tag for tag in library.vocabulary().core if tag not in ("missing-hanger", "rusted-connector")
            ]
            give_labels(library, [(photo, dict.fromkeys(core, "absent"))], by="ann")
    assert blocking(library) == []
