"""Small libraries without photo files: the audit reads words, piles and vectors only."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from triage.library import EventDraft, Library, queries
from triage.library.records import Suggestion
from triage.library.suggestions import keep_suggestions


def sha_of(name: str) -> str:
    return hashlib.sha256(name.encode()).hexdigest()


def add_photos(library: Library, names: Iterable[str]) -> list[str]:
    """Add photos named `deck/name` by their facts alone; returns their hashes."""
    said, shas = [], []
    for name in names:
        deck, _, file = name.partition("/")
        sha = sha_of(name)
        facts = {
            "sha": sha,
            "bytes": 1000,
            "width": 640,
            "height": 480,
            "orientation": 1,
            "suffix": ".jpg",
            "taken_at": None,
            "camera": None,
            "focal_mm": None,
            "phash": None,
            "quality": {},
        }
        said.append(EventDraft("photo-added", facts, "tester"))
        said.append(EventDraft("placed", {"sha": sha, "deck": deck, "visit": None, "name": file}, "tester"))
        shas.append(sha)
    library.say_many(said)
    return shas


def add_labels(library: Library, rows: Iterable[tuple[str, str, str, str]], **more: object) -> None:
    """Add labels (sha, tag, value, by)."""
    library.say_many(
        [
            EventDraft("label", {"photo": sha, "tag": tag, "value": value, **more}, by)
            for sha, tag, value, by in rows
        ]
    )


def add_piles(library: Library, model: str, tag: str, piles: Iterable[tuple[str, str]]) -> None:
    """Pretend that a model sorted photos (sha, pile)."""
    if queries.model_in_use(library) != model:
        library.say("trained", {"model": model, "tags": [tag]}, by="tester")
    keep_suggestions(library, [Suggestion(sha, tag, model, 0.0, 0.1, pile) for sha, pile in piles])
