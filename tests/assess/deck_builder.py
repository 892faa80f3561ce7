"""Builds a deck's evidence by hand, in few words, for tests."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import Any

from triage.assess import DeckEvidence
from triage.assess.coverage import needed
from triage.domain.reviewing import merge
from triage.library.records import Fact, Label, Photo, Suggestion, Word

AT = "2026-06-01T10:00:00+00:00"
CORE = ("missing-hanger", "rusted-connector", "nail-only-ledger", "debris-at-flashing", "side-bolted-beam")


def sha(name: str) -> str:
    return hashlib.sha256(name.encode()).hexdigest()


def photo(
    name: str, *, deck: str = "d", visit: str | None = None, burst: int | None = None, **quality: Any
) -> Photo:
    return Photo(
        sha=sha(f"{deck}/{visit}/{name}"),
        deck=deck,
        visit=visit,
        name=name,
        width=800,
        height=600,
        orientation=1,
        bytes=1000,
        taken_at=None,
        burst=burst,
        quality=quality,
    )


def label(shot: Photo, tag: str, value: str = "present", *, by: str = "Ann", **more: Any) -> Label:
    return Label(photo=shot.sha, tag=tag, value=value, by=by, at=more.pop("at", AT), **more)


def put_together(labels: list[Label]) -> dict[tuple[str, str], Word]:
    """Put labels together as the library does."""
    by_key: dict[tuple[str, str], list[Label]] = {}
    for one in labels:
        by_key.setdefault((one.photo, one.tag), []).append(one)
    words = {}
    for key, given in by_key.items():
        one = merge({label.value for label in given})
        words[key] = Word(*key, one.value, one.disputed, one.settled, tuple(given))
    return words


def facts(values: Mapping[str, Any], *, deck: str = "d", visit: str | None = None) -> dict[str, Fact]:
    return {key: Fact(deck, visit, key, value, "Ann", AT) for key, value in values.items()}


def guess(shot: Photo, tag: str, probability: float = 0.97, pile: str = "likely") -> Suggestion:
    return Suggestion(shot.sha, tag, "model-1", probability, probability, pile)


def deck(
    name: str = "d",
    *,
    visit: str | None = None,
    photos: list[Photo] | None = None,
    labels: list[Label] | None = None,
    guesses: list[Suggestion] | None = None,
    known: Mapping[str, Any] | None = None,
    **more: Any,
) -> DeckEvidence:
    return DeckEvidence(
        deck=name,
        visit=visit,
        photos=tuple(photos or ()),
        words=put_together(labels or []),
        suggestions={(one.photo, one.tag): one for one in guesses or []},
        facts=facts(known or {}, deck=name, visit=visit),
        **more,
    )


def seen_photos(
    known: Mapping[str, Any], *, name: str = "d", visit: str | None = None
) -> tuple[list[Photo], list[Label]]:
    """Return photos and labels that show every element a deck with these facts needs, with enough looks,
    and answer every core tag 'absent'."""
    photos, labels = [], []
    for need in needed(known):
        for place in ("left end", "middle", "right end", "second from left", "second from right", "all"):
            shot = photo(f"{need.element}-{place}.jpg", deck=name, visit=visit)
            photos.append(shot)
            labels.append(label(shot, f"shows-{need.element}", place=place, count=20))
            labels.extend(label(shot, tag, "absent") for tag in CORE)
    return photos, labels
