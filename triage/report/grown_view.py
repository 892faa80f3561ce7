"""What grew or shrank between two visits, as a pair of photos of one place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from triage.report.phrases import tag_words
from triage.report.text import clean, clock

if TYPE_CHECKING:
    from triage.assess.grown import SeverityChange
    from triage.library.records import Box
    from triage.report.pictures import Picture, Pictures
    from triage.report.source import DeckRecord


@dataclass(frozen=True)
class SeverityChangeView:
    """One pair as it prints; each photo is its name, when it was taken, what it shows, and its picture."""

    words: str
    photos: tuple[tuple[str, str, str, Picture | None], ...]


def grown_views(record: DeckRecord, pictures: Pictures) -> tuple[SeverityChangeView, ...]:
    """Return the pairs of a deck; what has no photos is told in words alone."""
    return tuple(_view(one, record, pictures) for one in record.grown)


def _view(one: SeverityChange, record: DeckRecord, pictures: Pictures) -> SeverityChangeView:
    what = one.what[0].upper() + one.what[1:]
    where = f" at {clean(one.place)}" if one.place else ""
    words = f"{what}{where}: {_degree(one.before)} before, {_degree(one.after)} now ({one.change})."
    pairs = ((one.photo_before, one.before), (one.photo_after, one.after))
    shown = () if None in (one.photo_before, one.photo_after) else pairs
    return SeverityChangeView(words, tuple(_photo(sha or "", said, record, pictures) for sha, said in shown))


def _degree(said: str) -> str:
    return said if said[0].isdigit() or " " in said else tag_words(said)


def _photo(
    sha: str, said: str, record: DeckRecord, pictures: Pictures
) -> tuple[str, str, str, Picture | None]:
    photo = next((one for one in record.photos if one.sha == sha), None)
    boxes: list[Box] = [
        box for label in record.labels if label.photo == sha and label.tag == said for box in label.boxes
    ]
    picture = pictures.crop(sha, boxes[0]) if boxes else pictures.thumb(sha)
    name = clean(photo.name if photo else sha[:12])
    return name, clock(photo.taken_at if photo else None), _degree(said), picture
