"""Taking photos into a library: what an ingest returns, and the ingest itself."""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from triage.batch import Cancel, Progress
from triage.errors import BadInput
from triage.ingest.collect import SetAside, SourceFile, by_folders, collect
from triage.library import EventDraft, Library, queries
from triage.library.records import UNSORTED

if TYPE_CHECKING:
    from triage.ingest.plan import Plan
    from triage.ingest.questions import Question
    from triage.ingest.walk import Boundary


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
    """What an ingest did.

    `undated` are decks whose photos share no single camera date; `questions` are about photos that wait;
    `proposed` are decks that time and place alone made; `said_of_plan` is what the day's plan leaves open.
    """

    undated: list[str] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    boundaries: list[Boundary] = field(default_factory=list)
    proposed: list[str] = field(default_factory=list)
    said_of_plan: list[dict[str, Any]] = field(default_factory=list)
    tree: list[str] = field(default_factory=list)
    look_alikes: dict[str, list[str]] = field(default_factory=dict)
    """Decks of photos that were taken in, with the other decks that have a photo looking the same."""

    @property
    def is_open(self) -> bool:
        """Whether anything waits for a person."""
        return bool(self.set_aside or self.questions or self.to_json()["waiting"] or self.said_of_plan)

    def to_json(self) -> dict[str, Any]:
        """Return the result in the shape that scripts rely on."""
        boundaries = [
            {
                "after": one.before,
                "before": one.after,
                "kind": one.why.value,
                "probability": round(one.probability, 6),
                "pause_s": one.pause_s,
                "apart_m": None if one.apart_m is None else round(one.apart_m, 1),
            }
            for one in self.boundaries
        ]
        return {
            **super().to_json(),
            "undated_decks": self.undated,
            "questions": [one.to_json() for one in self.questions],
            "boundaries": boundaries,
            "proposed": sorted(set(self.proposed)),
            "plan": self.said_of_plan,
            "tree": self.tree,
            "look_alikes": self.look_alikes,
        }


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
    walk: bool = False,
    level: int | None = None,
    plan: Plan | None = None,
    engine: str = "processes",
    dask: str | None = None,
    dry_run: bool = False,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> IngestResult:
    """Take photos into the library.

    The deck of a photo is `deck`, else the deepest folder that holds photos (with `level`, the folder so
    many steps below the given one); where folders name none, or with `walk` or a `plan`, time and place
    propose it. What is not sure waits at no deck, with a question. Raises BadInput when a path is missing or
    nothing offered is a photo file; everything else that is wrong with a file becomes a row of `set_aside`.
    """
    from triage.ingest.run import Run

    run = Run(library, by, deck, check_visit(visit), engine, dask, dry_run, progress, cancel, plan=plan)
    scratch = library.path / "cache" / "unpacked"
    try:
        offered = run.offered(collect([Path(path) for path in paths], deck, scratch))
        if deck is None:
            offered = by_folders(offered, level, nothing=walk or plan is not None)
            run.result.tree = tree_of(offered)
        wanted = run.sort_out(offered)
        if not wanted and not run.result.set_aside and not run.result.known:
            shown = ", ".join(str(path) for path in paths)
            raise BadInput(f"There are no photos in {shown}.", "Name a folder, a zip or photo files.")
        run.take_all(wanted)
        if plan is not None and not dry_run:
            keep_addresses(library, plan, by)
        run.remember()
    finally:
        run.close()
        shutil.rmtree(scratch, ignore_errors=True)
    return run.result


def keep_addresses(library: Library, plan: Plan, by: str) -> None:
    """Store the plan's addresses as private fields of its decks, where they say something new."""
    said = []
    for stop in plan.stops:
        for name in stop.deck_names:
            if stop.address and queries.deck_private(library, name).get("address") != stop.address:
                payload = {"deck": name, "field": "address"}
                said.append(EventDraft("deck-set", payload, by, private={"text": stop.address}))
    library.say_many(said)


def tree_of(offered: Sequence[SourceFile]) -> list[str]:
    """Return the offered folders as lines of a tree, each with the deck that it names."""
    from triage.ingest.folders import Lot, tree_lines

    return tree_lines((one.root, one.parts, Lot(one.deck, one.says, ())) for one in offered)
