"""From files to photo rows: hash, decode, place, record; a bad file is set aside and the batch goes on."""

from __future__ import annotations

import json
import shutil
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import groupby
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from triage.batch import Cancel, Failed, Ok, Progress, map_items
from triage.errors import BadInput
from triage.ingest.collect import SetAside, SourceFile, collect
from triage.ingest.placing import (
    FAR_APART_M,
    Placed,
    latest,
    metres_apart,
    origin_mark,
    position,
    positions_of,
    visit_of,
)
from triage.ingest.seen import SeenFiles
from triage.ingest.take_in import IngestedFile, Task, take_in
from triage.library import EventDraft, Library, removal
from triage.library.records import UNSORTED


@dataclass
class MergedPhotos:
    """What a library took over: photos that are new, known, and what was set aside with its reason."""

    added: list[dict[str, Any]] = field(default_factory=list)
    known: list[dict[str, Any]] = field(default_factory=list)
    set_aside: list[SetAside] = field(default_factory=list)
    dry_run: bool = False

    def to_json(self) -> dict[str, Any]:
        """Return the result in the shape that scripts rely on."""
        photos = [*self.added, *self.known]
        decks = Counter(one["deck"] for one in photos)
        waiting = decks.pop(UNSORTED, 0)
        return {
            "added": len(self.added),
            "known": len(self.known),
            "set_aside": [{"file": one.file, "reason": one.reason} for one in self.set_aside],
            "decks": dict(sorted(decks.items())),
            "waiting": waiting,
            "photos": photos,
            "dry_run": self.dry_run,
        }


@dataclass
class IngestResult(MergedPhotos):
    """What an ingest did; `undated` are decks whose photos share no single camera date."""

    undated: list[str] = field(default_factory=list)

    def to_json(self) -> dict[str, Any]:
        """Return the result in the shape that scripts rely on."""
        return {**super().to_json(), "undated_decks": self.undated}


def check_visit(text: str | None) -> str | None:
    """Return a visit's date as given. Raises BadInput unless it is an ISO date such as 2026-05-04."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise BadInput(
            f"{text!r} is not a date.", "Write a visit as YEAR-MONTH-DAY, e.g. 2026-05-04."
        ) from error


def ingest(
    library: Library,
    paths: Sequence[Path],
    *,
    by: str,
    deck: str | None = None,
    visit: str | None = None,
    engine: str = "processes",
    dask: str | None = None,
    dry_run: bool = False,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> IngestResult:
    """Take photos into the library.

    Raises BadInput when a path is missing or nothing offered is a photo file; everything else that is wrong
    with a file becomes a row of `set_aside`.
    """
    run = _Run(library, by, deck, check_visit(visit), engine, dask, dry_run, progress, cancel)
    scratch = library.path / "cache" / "unpacked"
    try:
        offered = run.sort_out(collect([Path(path) for path in paths], deck, scratch))
        if not offered and not run.result.set_aside and not run.result.known:
            shown = ", ".join(str(path) for path in paths)
            raise BadInput(f"There are no photos in {shown}.", "Name a folder, a zip or photo files.")
        run.take_all(offered)
    finally:
        run.close()
        shutil.rmtree(scratch, ignore_errors=True)
    return run.result


class _Run:
    """One ingest: what is known so far, and what came of it."""

    def __init__(
        self,
        library: Library,
        by: str,
        deck: str | None,
        visit: str | None,
        engine: str,
        dask: str | None,
        dry_run: bool,
        progress: Progress | None,
        cancel: Cancel | None,
    ) -> None:
        self.library, self.by, self.deck, self.visit = library, by, deck, visit
        self.engine, self.dask, self.progress, self.cancel = engine, dask, progress, cancel
        self.result = IngestResult(dry_run=dry_run)
        self.seen = SeenFiles(library.caches / "seen.sqlite")
        with library.read() as connection:
            self.placed = Placed.of(connection)
        self.marks: dict[str, str] = {}

    def close(self) -> None:
        self.seen.close()

    def mark(self, one: SourceFile) -> str:
        if one.origin not in self.marks:
            self.marks[one.origin] = origin_mark(self.library.id, one.origin)
        return self.marks[one.origin]

    def sort_out(self, items: Iterator[SourceFile | SetAside]) -> list[SourceFile]:
        """Return what has to be read, by deck; files that are known from an earlier run are done at once."""
        wanted = []
        for one in items:
            if isinstance(one, SetAside):
                self.result.set_aside.append(one)
                continue
            sha = self.seen.get(one.path)
            if sha is not None and sha in self.placed.deck_of and self.is_kept(sha):
                self.note_known(one, sha)
            else:
                wanted.append(one)
        order = {deck: index for index, deck in enumerate(dict.fromkeys(one.deck for one in wanted))}
        return sorted(wanted, key=lambda one: order[one.deck])

    def is_kept(self, sha: str) -> bool:
        """Say whether a known photo's original is still there; a lost one comes back with its file."""
        return self.library.originals.path(sha, self.placed.suffixes[sha]).exists()

    def aside(self, one: SourceFile, reason: str) -> None:
        self.result.set_aside.append(SetAside(one.shown, reason))

    def note_known(self, one: SourceFile, sha: str) -> None:
        """Count a photo that is here already; under another deck it is reported and never moved."""
        deck, _, name = self.placed.deck_of[sha]
        if deck != one.deck:
            self.aside(
                one, f"the same photo is here already as {deck}/{name}; use move to place it elsewhere"
            )
        else:
            self.result.known.append({"photo": sha, "deck": deck, "name": name})

    def question(self, one: SourceFile) -> str | None:
        """Return the question that must be settled before a folder may join a deck, or null."""
        if self.deck is not None or self.visit is not None:
            return None
        origins = self.placed.origins.get(one.deck)
        if not origins or self.mark(one) in origins:
            return None
        return (
            f"is this the deck {one.deck} that is here already? Its photos came from another folder; "
            f"say --deck NAME for another deck, or --visit DATE for another day at the same one"
        )

    def take_all(self, offered: list[SourceFile]) -> None:
        if self.result.dry_run:
            self.dry(offered)
            return
        total, done = len(offered), 0
        outcomes = map_items(
            take_in,
            self.tasks(offered),
            engine=self.engine,
            cancel=self.cancel,
            address=self.dask,
        )
        for deck, group in groupby(outcomes, key=lambda outcome: outcome.item.offered.deck):
            taken = []
            for outcome in group:
                done += 1
                if self.progress:
                    self.progress("reading photos", done, total)
                one = outcome.item.offered
                if isinstance(outcome, Failed):
                    self.aside(one, outcome.reason)
                else:
                    taken.append((one, outcome))
            for event in self.library.say_after(lambda base: self.settle(base, deck, taken)):  # noqa: B023
                self.placed.lamport = event.lamport
            self.seen.flush()
        self.library.finish_removals()

    def tasks(self, offered: list[SourceFile]) -> Iterator[Task]:
        originals, renditions = self.library.originals.folder, self.library.renditions.folder
        first_origin: dict[str, str] = {}
        removed = frozenset(self.placed.forgotten)
        for one in offered:
            other = first_origin.setdefault(one.deck, self.mark(one)) != self.mark(one)
            unsure = self.question(one) is not None or (other and self.deck is None and self.visit is None)
            yield Task(one, originals, renditions, hash_only=unsure, removed=removed)

    def dry(self, offered: list[SourceFile]) -> None:
        from triage.library.store import sha256_of

        for one in offered:
            sha = sha256_of(one.path)
            if sha in self.placed.deck_of:
                self.note_known(one, sha)
            elif question := self.question(one):
                self.aside(one, question)
            else:
                self.result.added.append({"photo": sha, "deck": one.deck, "name": one.name})

    def settle(
        self, connection: Connection, deck: str, taken: list[tuple[SourceFile, Ok[Task, IngestedFile]]]
    ) -> list[EventDraft]:
        """Place one deck's photos; returns what is to be recorded, all or none of it."""
        if latest(connection) != self.placed.lamport:  # somebody else has written meanwhile
            self.placed = Placed.of(connection)
        fresh: dict[str, tuple[SourceFile, IngestedFile]] = {}
        for one, outcome in taken:
            sha = outcome.value.sha
            if sha in self.placed.deck_of or sha in fresh:
                if sha in fresh:
                    self.note_twin(one, fresh[sha][0], sha)
                else:
                    self.note_known(one, sha)
            elif sha in self.placed.forgotten:
                removal.mark(connection, [sha])  # it may have been removed after its file was put here
                self.aside(one, "this photo was removed from the library for good")
            elif outcome.item.hash_only or self.question(one):
                self.aside(one, self.question(one) or "its folder has the name of another deck in this batch")
            else:
                fresh[sha] = (one, outcome.value)
            self.seen.put(one.path, sha)
        return self.said_of(deck, self.not_far_away(connection, deck, fresh))

    def note_twin(self, one: SourceFile, first: SourceFile, sha: str) -> None:
        self.result.known.append({"photo": sha, "deck": one.deck, "name": first.name})

    def not_far_away(
        self, connection: Connection, deck: str, fresh: dict[str, tuple[SourceFile, IngestedFile]]
    ) -> dict[str, tuple[SourceFile, IngestedFile]]:
        if self.deck is not None or self.visit is not None or not self.placed.origins.get(deck):
            return fresh
        there = [
            place
            for _, taken in fresh.values()
            if taken.exif and (place := position(taken.exif.private)) is not None
        ]
        apart = metres_apart(there, positions_of(connection, deck))
        if apart is None or apart <= FAR_APART_M:
            return fresh
        for one, _ in fresh.values():
            self.aside(
                one,
                f"taken {_far(apart)} from the photos of deck {deck} that are here already: is it the same "
                f"house? Say --deck NAME for another deck, or --visit DATE for another day",
            )
        return {}

    def said_of(self, deck: str, fresh: dict[str, tuple[SourceFile, IngestedFile]]) -> list[EventDraft]:
        visit = self.visit
        if visit is None:
            visit = visit_of(taken.exif.taken_at if taken.exif else None for _, taken in fresh.values())
            if visit is None and fresh:
                self.result.undated.append(deck)
        said: list[EventDraft] = []
        for sha, (one, taken) in fresh.items():
            other = self.placed.names.get((deck, visit, one.name))
            if other is not None:
                self.aside(
                    one,
                    f"another photo is named {deck}/{one.name} already: rename this file, or say --visit "
                    f"DATE or --deck NAME",
                )
                continue
            said += self.events(sha, one, taken, visit)
            self.placed.add(sha, deck, visit, one.name, self.mark(one))
            self.result.added.append({"photo": sha, "deck": deck, "name": one.name})
        return said

    def events(self, sha: str, one: SourceFile, taken: IngestedFile, visit: str | None) -> list[EventDraft]:
        exif = taken.exif
        private = {"exif": json.dumps(dict(exif.private), sort_keys=True)} if exif and exif.private else {}
        added = {
            "sha": sha,
            "bytes": taken.bytes,
            "width": taken.width,
            "height": taken.height,
            "orientation": taken.orientation,
            "suffix": taken.suffix,
            "taken_at": exif.taken_at if exif else None,
            "camera": exif.camera if exif else None,
            "focal_mm": (exif.focal_35mm or exif.focal_mm) if exif else None,
            "phash": taken.phash,
            "quality": dict(taken.quality or {}),
        }
        place = {
            "sha": sha,
            "deck": one.deck,
            "visit": visit,
            "name": one.name,
            "origin": self.mark(one),
        } | ({"why": one.why} if one.why else {})
        said = [EventDraft("placed", place, self.by)]
        return (
            said
            if sha in self.placed.known
            else [EventDraft("photo-added", added, self.by, private=private), *said]
        )


def _far(metres: float) -> str:
    return f"{metres / 1609.344:.1f} miles" if metres > 1609 else f"{metres * 3.28084:.0f} ft"
