"""What an ingest, or the merging of another library's photos, did."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from triage.ingest.collect import SetAside
from triage.library.records import UNSORTED

if TYPE_CHECKING:
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
