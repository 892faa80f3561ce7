"""The photos of a deck's record: each printed once, with the marks of every concern that points to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from triage.report.pictures import PLATE_MM, Picture, Pictures
from triage.report.text import and_list, clean, clock

if TYPE_CHECKING:
    from triage.library.records import Box
    from triage.report.source import DeckRecord, Options


@dataclass(frozen=True)
class Plate:
    """One photo as the record prints it; `elsewhere` says where it is printed instead."""

    number: int
    name: str
    taken: str
    cited: str
    position: str
    picture: Picture | None
    elsewhere: str
    marked: bool


class Plates:
    """Numbers the photos of a deck in the order in which concerns first point to them."""

    def __init__(self) -> None:
        self._marks: dict[str, list[tuple[int, tuple[Box, ...]]]] = {}

    def add(self, sha: str, concern: int, boxes: Sequence[Box]) -> int:
        """Note that a concern points to a photo; returns the photo's number."""
        self._marks.setdefault(sha, []).append((concern, tuple(boxes)))
        return list(self._marks).index(sha) + 1

    def made(
        self, record: DeckRecord, pictures: Pictures, options: Options, shown: Mapping[str, str]
    ) -> tuple[Plate, ...]:
        """Return the plates; a photo in `shown` (hash: where) was printed before and is pointed to."""
        return tuple(
            self._plate(number, sha, record, pictures, options, shown.get(sha, ""))
            for number, sha in enumerate(self._marks, start=1)
        )

    def _plate(
        self,
        number: int,
        sha: str,
        record: DeckRecord,
        pictures: Pictures,
        options: Options,
        elsewhere: str,
    ) -> Plate:
        photo = next((one for one in record.photos if one.sha == sha), None)
        boxes = tuple(dict.fromkeys(box for _, given in self._marks[sha] for box in given))
        concerns = dict.fromkeys(concern for concern, _ in self._marks[sha])
        return Plate(
            number=number,
            name=clean(photo.name if photo else sha[:12]),
            taken=clock(photo.taken_at if photo else None),
            cited=and_list(str(one) for one in concerns),
            position=clean(record.positions.get(sha, "")) if options.show_position else "",
            picture=None if elsewhere else pictures.printed(sha, PLATE_MM, boxes),
            elsewhere=elsewhere,
            marked=bool(boxes),
        )
