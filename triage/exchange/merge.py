"""Libraries grow together: photos by hash, foreign chains of events copied whole, disputes kept.

Merging adds no event of its own. The state is a fold of all chains by (lamport, log_id, seq), so that merging
twice is merging once, and either order gives the same state.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from triage.domain.plurals import count_of
from triage.errors import BadInput, Cancelled, Damaged
from triage.exchange.belongings import copy_belongings
from triage.ingest.collect import SetAside
from triage.ingest.result import MergedPhotos
from triage.library import latest, log, people, projections, queries
from triage.library.database import Connection, writing
from triage.library.event_schemas import event_faults

if TYPE_CHECKING:
    from triage.batch import Cancel, Progress
    from triage.library import Library


@dataclass
class MergeResult(MergedPhotos):
    """What a merge did; `set_aside` holds also questions that only a person can answer."""

    events: int = 0
    removals: list[dict[str, Any]] = field(default_factory=list)
    """Photos that are here and were removed for good in the other library."""

    def to_json(self) -> dict[str, Any]:
        """Return the result in the shape that scripts rely on (as of `ingest`)."""
        return {**super().to_json(), "events": self.events, "removals": self.removals}

    def sentence(self) -> str:
        """Say it in one sentence."""
        verb = "Would take over" if self.dry_run else "Took over"
        return (
            f"{verb} {count_of(self.events, 'event')} and {count_of(len(self.added), 'photo')}; "
            f"{count_of(len(self.known), 'photo was', 'photos were')} known."
        )


def merge_libraries(
    library: Library,
    paths: Sequence[Path],
    *,
    by: str = "",
    dry_run: bool = False,
    accept_removals: bool = False,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> MergeResult:
    """Merge other libraries into this one.

    `by` is not recorded: every word keeps its author. Raises NoLibrary for a path that is none, BadInput for
    this library itself, and where photos that are here were removed for good there (unless
    `accept_removals`); Damaged (with nothing merged) for a log that does not check, that holds an event which
    is not valid, or that was continued in two places; Cancelled between photos.
    """
    from triage.library import Library

    merged = MergeResult(dry_run=dry_run)
    with ExitStack() as stack:
        others = [stack.enter_context(Library.open(Path(path))) for path in paths]
        merges = [_Merge(library, other, merged, progress, cancel) for other in others]
        for one in merges:  # all or nothing: every library is checked before anything is written
            one.check()
            merged.removals += one.removals()
        if merged.removals and not (accept_removals or dry_run):
            raise BadInput(_removals_said(merged.removals), _REMOVALS_HINT)
        for one in merges:
            one.run()
    return merged


ONE_PERSON = "is this one person? Say: deck-triage people same NAME OTHER, or: people apart NAME OTHER"
_REMOVALS_HINT = "Look first with --dry-run; to remove them here too, add --accept-removals."


def _removals_said(removals: list[dict[str, Any]]) -> str:
    named = ", ".join(f"{one['deck']}/{one['name']}" for one in removals[:5])
    more = f" and {len(removals) - 5} more" if len(removals) > 5 else ""
    photos = count_of(len(removals), "photo that is", "photos that are")
    return (
        f"The other library has removed {photos} here for good: {named}{more}. A merge would remove "
        f"{'it' if len(removals) == 1 else 'them'} here too, so nothing was merged."
    )


class _Merge:
    """One library being merged into another."""

    def __init__(
        self,
        library: Library,
        other: Library,
        merged: MergeResult,
        progress: Progress | None,
        cancel: Cancel | None,
    ) -> None:
        self.library, self.other, self.merged = library, other, merged
        self.progress, self.cancel = progress, cancel
        self.shas_there = queries.shas(other)

    def run(self) -> None:
        here = {photo.sha: photo for photo in queries.photos(self.library)}
        with self.other.read() as there:
            gone = queries.shas(self.library) - here.keys()
            rows = [row for row in queries.placed_originals(there) if row["sha"] not in gone]
            fresh = [row for row in rows if row["sha"] not in here]
            questions = self.questions(fresh, here)
            self.copy_originals(rows)
            self.merged.events += self.take_over(there)
        self.merged.known += [_told(row) for row in rows if row["sha"] in here]
        self.merged.added += [_told(row) for row in fresh]
        self.merged.set_aside += questions
        if not self.merged.dry_run:
            self.drop_forgotten()
            with self.library.read() as connection:
                open_ones = latest.undecided(connection)
                names = people.open_questions(connection)
            self.merged.set_aside += [SetAside(what, why) for what, why in open_ones]
            self.merged.set_aside += [SetAside(f"{one!r} and {other!r}", ONE_PERSON) for one, other in names]
            for what, why in copy_belongings(self.library, self.other):
                self.merged.set_aside.append(SetAside(what, why))

    def check(self) -> None:
        """Refuse what can never be merged, before anything is written."""
        if self.other.path.resolve() == self.library.path.resolve():
            raise BadInput(f"{self.other.path} is this library itself.", "Name another library.")
        for one in (self.other, self.library):
            faults = queries.log_faults(one)
            if faults:
                raise Damaged(
                    f"The log of {one.path} failed its check: {faults[0]}; nothing was merged.",
                    "Run: deck-triage verify -L " + str(one.path),
                )
        fault = self.fault()
        if fault is not None:
            raise Damaged(
                f"The log of {self.other.path} holds an event that cannot be taken over, so nothing was "
                f"merged: {fault}.",
                "Ask where that library comes from. Its labels can come as a file: label write --show-names "
                "there, label read here.",
            )
        with self.library.read() as ours, self.other.read() as theirs:
            mine, foreign = log.heads(ours), log.heads(theirs)
            for log_id in mine.keys() & foreign.keys():
                seq = min(mine[log_id]["seq"], foreign[log_id]["seq"])
                if queries.event_hash(ours, log_id, seq) != queries.event_hash(theirs, log_id, seq):
                    raise Damaged(
                        f"Both libraries continued the same log {log_id[:8]} in different ways; "
                        "nothing was merged.",
                        "Write the labels of one with `label write --show-names` and read them into "
                        "the other.",
                    )

    def fault(self) -> str | None:
        """What is wrong with the first event there that is not valid, or null."""
        count = queries.event_count(self.other)
        with self.other.read() as there:
            rows = queries.event_rows(there)
            return next(event_faults((dict(row) for row in rows), count), None)

    def removals(self) -> list[dict[str, Any]]:
        """Photos that are here and were removed for good there."""
        here = {one.sha: one for one in queries.photos(self.library)}
        gone = {str(one.payload["sha"]) for one in self.other.events("forgotten")}
        known = {str(one.payload["sha"]) for one in self.library.events("forgotten")}
        there = {one.sha for one in queries.photos(self.other)}
        found = [here[sha] for sha in gone - known - there if sha in here]
        return [{"photo": one.sha, "deck": one.deck, "name": one.name} for one in found]

    def questions(self, fresh: list[dict[str, Any]], here: Mapping[str, Any]) -> list[SetAside]:
        """What only a person can tell: two houses of one name, two photos of one name."""
        found = []
        names = {(one.deck, one.visit, one.name) for one in here.values()}
        ours = {one.deck for one in here.values()}
        shared = {one.deck for one in here.values() if one.sha in self.shas_there}
        for deck in sorted({row["deck"] for row in fresh} & ours - shared):
            found.append(
                SetAside(
                    deck,
                    f"both libraries have a deck {deck} and share no photo of it: is it the same house? "
                    "If not, move the photos of one to another deck",
                )
            )
        for row in fresh:
            if (row["deck"], row["visit"], row["name"]) in names:
                name = f"{row['deck']}/{row['name']}"
                found.append(SetAside(name, "two different photos have this name now; both were kept"))
        return found

    def copy_originals(self, rows: list[dict[str, Any]]) -> None:
        """Copy the originals that are not here; one that is missing or damaged there is named."""
        if self.merged.dry_run:
            return
        for number, row in enumerate(rows, start=1):
            if self.cancel is not None and self.cancel():
                raise Cancelled("The merge was stopped; nothing but photo files was copied.")
            if self.progress is not None:
                self.progress("copying photos", number, len(rows))
            sha, suffix = row["sha"], row["suffix"]
            if self.library.originals.path(sha, suffix).exists():
                continue
            try:
                self.library.originals.add(self.other.originals.path(sha, suffix), sha, suffix)
            except FileNotFoundError:
                self.aside(row, "its original is missing from the other library; its labels were merged")
            except OSError as error:
                if error.errno is not None:
                    raise
                self.aside(row, "its original is damaged in the other library; its labels were merged")

    def aside(self, row: Mapping[str, Any], reason: str) -> None:
        self.merged.set_aside.append(SetAside(f"{row['deck']}/{row['name']}", reason))

    def take_over(self, there: Connection) -> int:
        """Copy events and private texts and project everything again, in one transaction."""
        events = queries.event_rows(there)
        if self.merged.dry_run:
            have = {log_id: head["seq"] for log_id, head in self.library.head().items()}
            return sum(row["seq"] > have.get(row["log_id"], 0) for row in events)
        with writing(self.library.engine) as connection:
            count = log.adopt(connection, events, queries.private_rows(there))
            projections.rebuild(connection, log.read(connection))
        return count

    def drop_forgotten(self) -> None:
        """Delete what is here of photos that were removed for good, but never those of an issued report."""
        issued = {
            sha for one in queries.statements(self.library, "issued") for sha in one.payload.get("photos", ())
        }
        for sha, suffix in queries.forgotten_photos(self.library):
            if sha in issued and self.library.originals.path(sha, suffix).exists():
                reason = "was removed for good there, but an issued report here uses it: its file stays"
                self.merged.set_aside.append(SetAside(sha[:12], reason))
        self.library.finish_removals()
        if self.library.not_removed:
            reason = (
                f"was removed for good, but not everything could be deleted yet: {self.library.not_removed}"
            )
            self.merged.set_aside.append(SetAside("removed photos", reason))


def _told(row: Mapping[str, Any]) -> dict[str, Any]:
    return {"photo": row["sha"], "deck": row["deck"], "name": row["name"]}
