"""What changed in degree between two visits at one place: the rust's grade, a measured gap or depth.

Rust has three grades, worst last: `light-rust`, `rusted-connector`, `rust-scaling` (the vocabulary says how
they look). Two photos are of one place where their labels name it in the same words, or where a person tied
them together by a closing. What was measured is compared by its fact, which may name its photo as evidence.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from triage.assess.places import place_key
from triage.library import queries
from triage.structure.harm import harms

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.records import Closing, Fact, Photo, Word

RUST_GRADES = ("light-rust", "rusted-connector", "rust-scaling")
NO_RUST = "no rust seen"
MEASURED = {
    "ledger_gap_in": ("gap between ledger and house", "in"),
    "guard_gap_in": ("largest opening in the guard", "in"),
    "stair_guard_gap_in": ("largest opening in the stair guard", "in"),
    "band_probe_depth_in": ("how deep a probe sank into the house band", "in"),
    "post_probe_depth_in": ("how deep a probe sank into a post", "in"),
    "band_moisture_percent": ("moisture of the house band", "%"),
    "post_moisture_percent": ("moisture of a post", "%"),
}
"""Facts measured at both visits, with what they are and their unit; `harm.toml` says which way is worse."""

Words = Mapping[tuple[str, str], "Word"]


@dataclass(frozen=True)
class SeverityChange:
    """One thing at one place at two visits; `change` is 'worse', 'better' or 'the same'."""

    what: str
    place: str | None
    before: str
    after: str
    change: str
    photo_before: str | None
    photo_after: str | None

    def to_json(self) -> dict[str, Any]:
        """Return the row as `compare --json` prints it."""
        return {
            "what": self.what,
            "place": self.place,
            "before": self.before,
            "after": self.after,
            "change": self.change,
            "photo_before": self.photo_before,
            "photo_after": self.photo_after,
        }


def grown_between(
    lib: Library, deck: str, before: str | None, after: str | None
) -> tuple[SeverityChange, ...]:
    """Return what can be compared in degree between two visits of a deck, worst changes first."""
    words, closings = queries.words(lib, deck), queries.closings(lib, deck)
    rows = rust_grown(words, queries.photos(lib, deck, before), queries.photos(lib, deck, after), closings)
    rows += measured_grown(queries.facts(lib, deck, before), queries.facts(lib, deck, after))
    order = ("worse", "better", "the same")
    return tuple(sorted(rows, key=lambda one: (order.index(one.change), one.what, one.place or "")))


def rust_grown(
    words: Words, before: Sequence[Photo], after: Sequence[Photo], closings: Iterable[Closing] = ()
) -> list[SeverityChange]:
    """Return the rust's grade at each place that photos of both visits show, by persons' words."""
    first, second = _by_place(words, before), _by_place(words, after)
    pairs = {place: (first[place], second[place]) for place in first.keys() & second.keys()}
    photos = {one.sha for one in before}, {one.sha for one in after}
    for closing in closings:
        if closing.before in photos[0] and closing.after in photos[1]:
            graded = _graded(words, closing.before), _graded(words, closing.after)
            if graded[0] is not None and graded[1] is not None:
                place = place_key(closing.place)
                pairs[place] = (graded[0], closing.before, closing.place), (graded[1], closing.after, None)
    return [
        SeverityChange(
            what="rust",
            place=one[2],
            before=_name(one[0]),
            after=_name(other[0]),
            change=_change(one[0], other[0]),
            photo_before=one[1],
            photo_after=other[1],
        )
        for one, other in pairs.values()
        if max(one[0], other[0]) > 0
    ]


def _by_place(words: Words, photos: Sequence[Photo]) -> dict[str, tuple[int, str, str | None]]:
    """Return (grade, photo, place) by the place's key: the worst grade that was said of it."""
    shas = {photo.sha for photo in photos}
    found: dict[str, tuple[int, str, str | None]] = {}
    for (sha, tag), word in words.items():
        if sha not in shas or tag not in RUST_GRADES:
            continue
        grade = _graded(words, sha)
        for label in word.labels:
            place = place_key(label.place)
            if place and grade is not None and (place not in found or grade > found[place][0]):
                found[place] = (grade, sha, label.place)
    return found


def _graded(words: Words, sha: str) -> int | None:
    """Return a photo's grade: 0 where persons saw no rust, 1 to 3; null where nobody says."""
    said = {tag: words[sha, tag].value for tag in RUST_GRADES if (sha, tag) in words}
    present = [RUST_GRADES.index(tag) + 1 for tag, value in said.items() if value == "present"]
    if present:
        return max(present)
    return 0 if said.get("rusted-connector") == "absent" and "unclear" not in said.values() else None


def _name(grade: int) -> str:
    return RUST_GRADES[grade - 1] if grade else NO_RUST


def measured_grown(before: Mapping[str, Fact], after: Mapping[str, Fact]) -> list[SeverityChange]:
    """Return the facts of which more is worse that were measured at both visits."""
    rows = []
    for key, (what, unit) in MEASURED.items():
        one, other = before.get(key), after.get(key)
        if one is None or other is None or one.visit == other.visit:
            continue
        rows.append(
            SeverityChange(
                what=what,
                place=None,
                before=f"{one.value:g} {unit}",
                after=f"{other.value:g} {unit}",
                change=_change(harms()[key].level(one.value) or 0.0, harms()[key].level(other.value) or 0.0),
                photo_before=next(iter(one.photos), None),
                photo_after=next(iter(other.photos), None),
            )
        )
    return rows


def _change(before: float, after: float) -> str:
    return "worse" if after > before else "better" if after < before else "the same"
