"""A library of synthetic rows at any size, written straight into its tables: for `tools/bench/run scale`.

The rows have the shape that ingest, labels and presort give, but their hashes are made up and the chain of
events does not check: `verify` would say so. No photo file stands behind them.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from hashlib import sha256
from pathlib import Path

from sqlalchemy.schema import CreateIndex

from tools.bench.page import make_model
from triage.library import Library, queries
from triage.library.tables import event, label, metadata, photo, placing, suggestion

A_DECK = 30
"""Photos of a deck: 33,334 decks at a million."""
PEOPLE = ("p1", "p2", "p3")
"""Each labels every third deck."""


def sha_of(number: int) -> str:
    """Return the made-up hash of a photo."""
    return sha256(b"photo %d" % number).hexdigest()


def deck_of(number: int) -> str:
    """Return the deck of a photo."""
    return f"D-{number // A_DECK:06d}"


def make_rows(folder: Path, photos: int, *, tags: int = 5, labeled: float = 1.0) -> Library:
    """Make a library of `photos` photos, the first `labelled` of them labeled for the first `tags` tags.

    Every photo has a suggestion for each tag. Indexes are made after the rows.
    """
    library = Library.create(folder)
    names = [*library.vocabulary().core, *sorted(library.vocabulary().tags)]
    chosen = list(dict.fromkeys(names))[:tags]
    model = make_model(library)
    for person in PEOPLE:
        library.say("fact", {"deck": "D-000000", "key": "attached", "value": True}, by=person)
    refs = {one.by: one.by_ref for one in library.events("fact")}
    start = queries.event_count(library)
    log_id = library.log_id
    library.close()
    base = sqlite3.connect(folder / "library.sqlite", isolation_level=None)
    base.execute("PRAGMA synchronous=OFF")
    base.execute("PRAGMA journal_mode=OFF")
    tables = (event, label, photo, placing, suggestion)
    for table in tables:
        for index in table.indexes:
            base.execute(f'DROP INDEX "{index.name}"')
    base.execute("BEGIN")
    _insert(base, photo.name, _photos(photos))
    _insert(base, placing.name, _placings(photos, start, log_id, refs["p1"]))
    many = int(photos * labeled)
    first = start + 2 * photos
    _insert(base, label.name, _labels(many, chosen, first, log_id, refs))
    _insert(base, event.name, _events(photos, many, chosen, start, log_id, refs))
    _insert(base, suggestion.name, _suggestions(photos, chosen, model))
    base.execute("COMMIT")
    for table in tables:
        for index in sorted(table.indexes, key=lambda one: str(one.name)):
            base.execute(str(CreateIndex(index)))
    base.execute("PRAGMA journal_mode=WAL")
    base.close()
    assert metadata.tables  # the same tables as the library's own
    return Library.open(folder)


def _insert(base: sqlite3.Connection, table: str, rows: Iterable[tuple[object, ...]]) -> None:
    stream = iter(rows)
    first = next(stream, None)
    if first is None:
        return
    marks = ", ".join("?" * len(first))
    base.execute(f'INSERT INTO "{table}" VALUES ({marks})', first)  # noqa: S608 - own table names
    base.executemany(f'INSERT INTO "{table}" VALUES ({marks})', stream)  # noqa: S608


def _taken(number: int) -> str:
    day, place = number // A_DECK % 28 + 1, number % A_DECK
    return f"2026-05-{day:02d}T10:{place:02d}:00"


def _photos(count: int) -> Iterator[tuple[object, ...]]:
    for number in range(count):
        yield (
            sha_of(number),
            3_000_000,
            4032,
            3024,
            1,
            ".jpg",
            _taken(number),
            "Invented",
            26.0,
            None,
            '{"blur": 0.2, "blurred": false, "dark": false, "far": false}',
            None,
            "here",
        )


def _order(kind: str, number: int, log_id: str, ref: str, key: str) -> tuple[object, ...]:
    at = "2026-05-04T10:00:00.000000+00:00"
    return (f"{kind}{number:063x}", f"{number // 20:032x}", ref, at, number, log_id, number, 0, 1, key)


def _placings(count: int, start: int, log_id: str, ref: str) -> Iterator[tuple[object, ...]]:
    for number in range(count):
        sha = sha_of(number)
        yield (
            *_order("b", start + count + number + 1, log_id, ref, sha),
            sha,
            deck_of(number),
            _taken(number)[:10],
            f"IMG_{number % A_DECK:04d}.jpg",
            "origin",
            None,
        )


def _labels(
    count: int, tags: list[str], start: int, log_id: str, refs: dict[str, str]
) -> Iterator[tuple[object, ...]]:
    for number in range(count):
        sha, ref = sha_of(number), refs[PEOPLE[number // A_DECK % 3]]
        for spot, tag in enumerate(tags):
            value = "present" if (number * 7 + spot) % 61 == 0 else "absent"
            place = start + number * len(tags) + spot + 1
            yield (
                *_order("c", place, log_id, ref, f"{sha}|{tag}|{ref}"),
                sha,
                tag,
                value,
                "[]",
                None,
                None,
                "deck",
                0,
                None,
                None,
            )


def _events(
    photos: int, labeled: int, tags: list[str], start: int, log_id: str, refs: dict[str, str]
) -> Iterator[tuple[object, ...]]:
    at, before = "2026-05-04T10:00:00.000000+00:00", "0" * 64
    number = start
    for kind, letter, count in (("photo-added", "a", photos), ("placed", "b", photos)):
        for _ in range(count):
            number += 1
            yield (
                log_id,
                number,
                number,
                kind,
                f"{number // 20:032x}",
                "{}",
                at,
                at,
                refs["p1"],
                before,
                f"{letter}{number:063x}",
            )
    for one in range(labeled):
        ref = refs[PEOPLE[one // A_DECK % 3]]
        for _ in tags:
            number += 1
            yield (
                log_id,
                number,
                number,
                "label",
                f"{number // 20:032x}",
                "{}",
                at,
                at,
                ref,
                before,
                f"c{number:063x}",
            )


def _suggestions(count: int, tags: list[str], model: str) -> Iterator[tuple[object, ...]]:
    for number in range(count):
        sha = sha_of(number)
        for spot, tag in enumerate(tags):
            chance = (number * 31 + spot * 7) % 100 / 100
            yield (sha, tag, model, 0.1, chance, "likely" if chance >= 0.5 else "unsure", "[]")
