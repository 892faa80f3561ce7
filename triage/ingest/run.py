"""One ingest: files are read in workers, decided lot by lot, and recorded, all or none of a lot."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

from triage.batch import Cancel, Failed, Progress, map_items
from triage.ingest.collect import SetAside, SourceFile
from triage.ingest.deciding import Fresh, Verdict, decide
from triage.ingest.exif import ExifFacts, read_exif
from triage.ingest.folders import Says
from triage.ingest.placing import Placed, origin_mark, visit_of
from triage.ingest.questions import Question, open_questions, question_id, remember
from triage.ingest.result import IngestResult
from triage.ingest.take_in import IngestedFile, Task, take_in
from triage.ingest.walk import Why
from triage.library import EventDraft, Library, queries, removal
from triage.library.database import Connection
from triage.library.look_alikes import decks_like
from triage.library.records import UNSORTED
from triage.library.seen_files import SeenFiles
from triage.library.store import sha256_of

if TYPE_CHECKING:
    from triage.ingest.plan import Plan


class Run:
    """One ingest: what is known so far, and its result."""

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
        *,
        plan: Plan | None = None,
    ) -> None:
        self.library, self.by, self.deck, self.visit = library, by, deck, visit
        self.engine, self.dask, self.progress, self.cancel = engine, dask, progress, cancel
        self.plan = plan
        self.result = IngestResult(dry_run=dry_run)
        self.seen = SeenFiles(library.caches / "seen.sqlite")
        with library.read() as connection:
            self.placed = Placed.of(connection)
        self.marks: dict[str, str] = {}
        self.again: dict[str, SourceFile] = {}
        """Photos by hash that are known from earlier runs and lie in this heap too."""
        self.taken: list[str] = []
        self.waits: dict[str, str] = {}
        """Files whose photos wait for a deck now, to their hashes."""
        self.read: dict[Path, tuple[str, ExifFacts]] = {}
        """Hash and EXIF of files that were examined before they are ingested."""

    def close(self) -> None:
        """Let go of the cache of hashed files."""
        self.seen.close()

    def remember(self) -> None:
        """Record which files were set aside, so that they stay listed until somebody dealt with them.

        Questions of earlier runs about photos that were offered again are listed once more, and decks that
        look like those of the photos taken in are named.
        """
        waiting = {str(row["photo"]) for row in self.result.known if row["deck"] == UNSORTED}
        asked = {one.id for one in self.result.questions}
        for question in open_questions(self.library) if waiting else []:
            if question.id not in asked and waiting & set(question.photos):
                self.result.questions.append(question)
        if not self.result.dry_run and (self.result.set_aside or self.taken):
            remember(self.library, self.result.set_aside, self.taken, self.by, self.waits)
        if not self.result.dry_run and self.result.added:
            added = [str(row["photo"]) for row in self.result.added]
            self.result.look_alikes = decks_like(self.library, added)

    def mark(self, one: SourceFile) -> str:
        """Return the mark of the folder that a file came from."""
        if one.origin not in self.marks:
            self.marks[one.origin] = origin_mark(self.library.id, one.origin)
        return self.marks[one.origin]

    def offered(self, items: Iterable[SourceFile | SetAside]) -> list[SourceFile]:
        """Return the files that are offered; what is set aside at once is noted."""
        found = []
        for one in items:
            if isinstance(one, SetAside):
                self.result.set_aside.append(one)
            else:
                found.append(one)
        return found

    def sort_out(self, items: Iterable[SourceFile]) -> list[SourceFile]:
        """Return what has to be read, lot by lot; files known from an earlier run are done at once."""
        wanted = []
        for one in items:
            sha = self.seen.get(one.path)
            if sha is not None and sha in self.placed.deck_of and self.is_kept(sha) and not self.frees(sha):
                self.note_known(one, sha)
            else:
                wanted.append(one)
        order = {deck: index for index, deck in enumerate(dict.fromkeys(one.deck for one in wanted))}
        return sorted(wanted, key=lambda one: order[one.deck])

    def is_kept(self, sha: str) -> bool:
        """Say whether a known photo's original is still there; a lost one comes back with its file."""
        return self.library.originals.path(sha, self.placed.suffixes[sha]).exists()

    def frees(self, sha: str) -> bool:
        """Say whether a photo waits for a deck and a person names one now, or another day."""
        waits = self.placed.deck_of[sha][0] == UNSORTED
        return waits and (self.deck not in (None, UNSORTED) or self.visit is not None)

    def aside(self, one: SourceFile, reason: str) -> None:
        """Note a file as set aside."""
        self.result.set_aside.append(SetAside(one.shown, reason))

    def note_known(self, one: SourceFile, sha: str) -> None:
        """Count a photo that is here already; under another deck it is reported and never moved."""
        deck, _, name = self.placed.deck_of[sha]
        self.taken.append(one.shown)
        if one.says is Says.NOTHING:
            self.again[sha] = one
        if one.deck and deck not in (one.deck, UNSORTED):
            self.aside(
                one, f"the same photo is already here as {deck}/{name}; use move to place it elsewhere"
            )
        else:
            self.result.known.append({"photo": sha, "deck": deck, "name": name})

    def take_all(self, offered: list[SourceFile]) -> None:
        """Read and place the files, lot by lot."""
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
                    taken.append((one, outcome.value))
            for event in self.library.say_after(lambda base: self.settle(base, deck, taken)):  # noqa: B023
                self.placed.lamport = event.lamport
            self.seen.flush()
        self.library.finish_removals()

    def tasks(self, offered: list[SourceFile]) -> Iterator[Task]:
        """Yield what the workers are to do."""
        originals, renditions = self.library.originals.folder, self.library.renditions.folder
        removed = frozenset(self.placed.forgotten)
        for one in offered:
            yield Task(one, originals, renditions, self.read.get(one.path), removed)

    def dry(self, offered: list[SourceFile]) -> None:
        """Say what would be done: files are hashed and their EXIF is read, nothing is decoded or stored."""
        for deck, group in groupby(offered, key=lambda one: one.deck):
            taken = []
            for one in group:
                try:
                    file = IngestedFile(sha256_of(one.path), 0, "", exif=read_exif(one.path))
                except OSError as error:
                    self.aside(one, f"cannot be read: {error.strerror or error}")
                    continue
                taken.append((one, file))
            with self.library.read() as connection:
                self.settle(connection, deck, taken)

    def settle(
        self, connection: Connection, deck: str, taken: list[tuple[SourceFile, IngestedFile]]
    ) -> list[EventDraft]:
        """Place one lot's photos; returns what is to be recorded, all or none of it."""
        somebody_wrote = queries.lamport(connection) != self.placed.lamport
        if somebody_wrote and not self.result.dry_run:
            self.placed = Placed.of(connection)
        fresh: Fresh = {}
        for one, file in taken:
            sha = file.sha
            if sha in fresh:
                self.result.known.append(
                    {"photo": sha, "deck": one.deck or UNSORTED, "name": fresh[sha][0].name}
                )
            elif sha in self.placed.deck_of and not self.frees(sha):
                self.note_known(one, sha)
            elif sha in self.placed.forgotten:
                if not self.result.dry_run:
                    removal.mark(connection, [sha])  # it may have been removed after its file was put here
                self.aside(one, "this photo was removed from the library for good")
            else:
                fresh[sha] = (one, file)
            if not self.result.dry_run:
                self.seen.put(one.path, sha)
        return self.said_of(fresh, decide(self, connection, deck, fresh)) if fresh else []

    def said_of(self, fresh: Fresh, verdict: Verdict) -> list[EventDraft]:
        """Return the events that place photos as decided, and the questions."""
        self.result.boundaries += verdict.boundaries
        self.result.proposed += verdict.proposed
        said: list[EventDraft] = []
        for deck in dict.fromkeys(verdict.deck_of.values()):
            said += self.said_of_deck(
                deck, {sha: fresh[sha] for sha, one in verdict.deck_of.items() if one == deck}, verdict
            )
        for question in verdict.questions:
            said.append(question.draft(self.by))
            self.result.questions.append(question)
            for sha in question.photos:
                if question.why in (Why.SAME_NAME, Why.KNOWN_PLACE, Why.NAME_TAKEN) or verdict.tell_each:
                    self.aside(fresh[sha][0], verdict.reasons.get(sha, question.reason))
        return said

    def said_of_deck(self, deck: str, fresh: Fresh, verdict: Verdict) -> list[EventDraft]:
        """Return the events that place photos at one deck, or let them wait."""
        visit = self.visit
        if visit is None and deck != UNSORTED:
            visit = visit_of(file.exif.taken_at if file.exif else None for _, file in fresh.values())
            if visit is None:
                self.result.undated.append(deck)
        said: list[EventDraft] = []
        clash: list[str] = []
        for sha, (one, file) in fresh.items():
            name = one.name
            if self.placed.names.get((deck, visit, name), sha) != sha:
                if deck != UNSORTED and not verdict.free_names:
                    clash.append(sha)
                    continue
                name = _other_name(name, sha)
            said += self.events(sha, one, file, deck, visit, name, verdict.reasons.get(sha))
        if clash:
            said += self.said_of_clash(deck, {sha: fresh[sha] for sha in clash})
        return said

    def said_of_clash(self, deck: str, fresh: Fresh) -> list[EventDraft]:
        """Let photos wait whose names are taken at their deck by other photos."""
        question = Question(
            question_id(Why.NAME_TAKEN, fresh), Why.NAME_TAKEN, tuple(fresh), deck, f"deck {deck}"
        )
        self.result.questions.append(question)
        said = [question.draft(self.by)]
        for sha, (one, file) in fresh.items():
            reason = (
                f"another photo is named {deck}/{one.name} already: rename this file, or say --visit DATE or "
                f"--deck NAME"
            )
            self.aside(one, reason)
            name = one.name
            if self.placed.names.get((UNSORTED, self.visit, name), sha) != sha:
                name = _other_name(name, sha)
            said += self.events(sha, one, file, UNSORTED, self.visit, name, reason)
        return said

    def events(
        self,
        sha: str,
        one: SourceFile,
        file: IngestedFile,
        deck: str,
        visit: str | None,
        name: str,
        why: str | None,
    ) -> list[EventDraft]:
        """Return the events of one photo: that it is here, and where it stands."""
        exif = file.exif
        private = {"exif": json.dumps(dict(exif.private), sort_keys=True)} if exif and exif.private else {}
        added = {
            "sha": sha,
            "bytes": file.bytes,
            "width": file.width,
            "height": file.height,
            "orientation": file.orientation,
            "suffix": file.suffix,
            "taken_at": exif.taken_at if exif else None,
            "camera": exif.camera if exif else None,
            "focal_mm": (exif.focal_35mm or exif.focal_mm) if exif else None,
            "phash": file.phash,
            "quality": dict(file.quality or {}),
        }
        place = {"sha": sha, "deck": deck, "visit": visit, "name": name, "origin": self.mark(one)}
        reason = one.why or why
        said = [EventDraft("placed", place | ({"why": reason} if reason else {}), self.by)]
        if sha not in self.placed.known:
            said = [EventDraft("photo-added", added, self.by, private=private), *said]
        self.placed.add(sha, deck, visit, name, self.mark(one))
        self.result.added.append({"photo": sha, "deck": deck, "name": name})
        self.taken.append(one.shown)
        if deck == UNSORTED:
            self.waits[one.shown] = sha
        return said


def _other_name(name: str, sha: str) -> str:
    stem, dot, suffix = name.rpartition(".")
    return f"{stem}-{sha[:6]}{dot}{suffix}"
