"""Label files as CSV: read row by row, written so that a spreadsheet opens them safely.

Columns: `photo,deck,tag,value,by,at,box,place,count,asked_by,saw_machine,note`; the first four are
needed. A column `visit` may be added: where two visits of a deck have a photo of one name, it says which is
meant. A box is `x,y,width,height` in fractions of the upright photo (a zero-size box is a point);
several boxes are joined by `;`. A bad row is set aside with its reason, never the end of the file.
Which photo a row means is settled by the caller: this module knows no library.
"""

from __future__ import annotations

import difflib
import errno
import hashlib
import json
import math
import os
import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from triage.domain.tiers import VALUES
from triage.errors import BadInput
from triage.library import store
from triage.library.records import ASKED_BY, UNKNOWN_ORDER, Box, Label, Photo
from triage.tabular import csv_text, plain_cell, read_csv, read_text

COLUMNS: tuple[str, ...] = (
    "photo",
    "deck",
    "tag",
    "value",
    "by",
    "at",
    "box",
    "place",
    "count",
    "asked_by",
    "saw_machine",
    "note",
)
VISIT = "visit"
"""A column more that a file may have: the visit of the photo, where two visits have a photo of one name."""
NEEDED: tuple[str, ...] = ("photo", "tag", "value")
"""`deck` is needed too, but may be left out where `photo` alone says which photo is meant."""

_TRUE = {"true": True, "1": True, "yes": True, "false": False, "0": False, "no": False, "": False}
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_EDGE = 1e-6
"""Fraction of the photo by which a box may stick out from rounding; such a box is cut to the photo."""
MOST_COUNT = 1_000_000
"""No deck has more of anything; a greater count is a slip of the keyboard."""


@dataclass(frozen=True)
class LabelRow:
    """One row of a label file; `photo` is the text that names the photo, `row` counts the header as 1."""

    row: int
    photo: str
    deck: str | None
    tag: str
    value: str
    by: str | None = None
    at: str | None = None
    boxes: tuple[Box, ...] = ()
    place: str | None = None
    count: int | None = None
    asked_by: str = "taken"
    saw_machine: bool = False
    note: str | None = None
    order_known: bool = False
    """Whether the file says how the photo came to be asked."""
    settles: bool = False
    """Whether it ends a dispute; `note` is the reason."""
    visit: str | None = None
    """The day of the visit that the photo is of, where the file says it."""

    @property
    def row_hash(self) -> str:
        """SHA-256 (hex) of everything the row says, without its number: the same words give the same hash."""
        said = [
            self.photo,
            self.deck,
            self.tag,
            self.value,
            self.by,
            self.at,
            self.boxes,
            self.place,
            self.count,
            self.asked_by,
            self.saw_machine,
            self.note,
            *(["settled"] if self.settles else []),
            *(["visit", self.visit] if self.visit else []),
        ]
        return hashlib.sha256(json.dumps(said, ensure_ascii=True).encode()).hexdigest()


@dataclass(frozen=True)
class SetAside:
    """A row that was not taken, with the reason; the header is row 1."""

    row: int
    reason: str


def read_csv_rows(path: Path) -> tuple[list[LabelRow], list[SetAside]]:
    """Read a CSV label file (UTF-8 or UTF-16; commas, semicolons or tabs).

    Raises BadInput for a file that cannot be read at all: no text, no header, a needed column missing,
    a column twice, no rows.
    """
    sheet = read_csv(path.name, read_text(path))
    _check_header(path, list(sheet.header))
    rows: list[LabelRow] = []
    aside = [SetAside(1, reason) for reason in _doubtful_columns(list(sheet.header))]
    for row in sheet.rows():
        try:
            if row.width > len(sheet.header):
                raise BadInput(f"the row has {row.width} cells, the header {len(sheet.header)}")
            rows.append(parse_row(row.number, {name: text or "" for name, text in row.cells.items()}))
        except BadInput as error:
            aside.append(SetAside(row.number, str(error)))
    if not rows and all(one.row == 1 for one in aside):
        raise BadInput(f"{path.name} holds no rows below its header", "add a row and read it again")
    return rows, aside


def _check_header(path: Path, header: list[str]) -> None:
    missing = [name for name in NEEDED if name not in header]
    if missing:
        raise BadInput(
            f"{path.name} has no column {', '.join(missing)}", f"the columns are {','.join(COLUMNS)}"
        )
    twice = [name for name in COLUMNS if header.count(name) > 1]
    if twice:
        raise BadInput(f"{path.name} has the column {twice[0]} twice", "keep one of them")


def _doubtful_columns(header: list[str]) -> list[str]:
    """Reasons for columns that look like a misspelt one; other foreign columns are passed over."""
    reasons = []
    for name in header:
        near = difflib.get_close_matches(name, [known for known in COLUMNS if known not in header], 1, 0.75)
        if name and name not in (*COLUMNS, VISIT) and near:
            reasons.append(f"the column {name!r} was not read; is {near[0]!r} meant?")
    return reasons


def parse_row(number: int, cells: Mapping[str, str]) -> LabelRow:
    """Check one row (column -> text) and return it.

    Raises BadInput with a reason that names the field.
    """
    said = {name: _plain(name, cells.get(name, "")) for name in (*COLUMNS, VISIT)}
    for name in NEEDED:
        if not said[name]:
            raise BadInput(f"{name} is empty")
    value = said["value"].lower()
    if value not in VALUES:
        raise BadInput(f"value {said['value']!r} is not one of {', '.join(VALUES)}")
    asked_by = said["asked_by"].lower() or "taken"
    if asked_by not in ASKED_BY:
        raise BadInput(f"asked_by {said['asked_by']!r} is not one of {', '.join(ASKED_BY)}")
    saw_machine = _TRUE.get(said["saw_machine"].lower())
    if saw_machine is None:
        raise BadInput(f"saw_machine {said['saw_machine']!r} is neither true nor false")
    return LabelRow(
        number,
        said["photo"],
        said["deck"] or None,
        said["tag"],
        value,
        by=said["by"] or None,
        at=parse_time(said["at"]),
        boxes=parse_boxes(said["box"]),
        place=said["place"] or None,
        count=_count(said["count"]),
        asked_by=asked_by,
        saw_machine=saw_machine,
        note=said["note"] or None,
        order_known=said["asked_by"].lower() not in ("", UNKNOWN_ORDER),
        visit=_day(said[VISIT]),
    )


def _day(text: str) -> str | None:
    """Return a visit's day, or null for an empty text. Raises BadInput for a text that is not a date."""
    if not text:
        return None
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise BadInput(f"visit {text!r} is not a date (2026-05-01)") from error


def _plain(name: str, text: str) -> str:
    text = text.strip(" \r\n")
    if _CONTROL.search(text):
        raise BadInput(f"{name} holds a control character")
    return plain_cell(text)


def parse_time(text: str) -> str | None:
    """Return the ISO 8601 time as written, or null for an empty text; no zone is guessed.

    Raises BadInput for a text that is not such a time.
    """
    if not text:
        return None
    try:
        datetime.fromisoformat(text)
    except ValueError as error:
        raise BadInput(f"at {text!r} is not an ISO 8601 time") from error
    return text


def _count(text: str) -> int | None:
    if not text:
        return None
    try:
        number = float(text)
    except ValueError as error:
        raise BadInput(f"count {text!r} is not a whole number") from error
    if not (math.isfinite(number) and number == int(number) and 0 <= number <= MOST_COUNT):
        raise BadInput(f"count {text!r} is not a whole number from 0 to {MOST_COUNT}")
    return int(number)


def parse_boxes(text: str) -> tuple[Box, ...]:
    """Read boxes `x,y,w,h` (fractions of the upright photo) joined by `;`; an empty text gives none.

    Raises BadInput for anything outside the photo or not a number.
    """
    return tuple(_box(part) for part in text.split(";") if part.strip())


def _box(text: str) -> Box:
    try:
        numbers = [float(part) for part in text.split(",")]
    except ValueError as error:
        raise BadInput(f"box {text.strip()!r} contains something that is not a number") from error
    if len(numbers) != 4:
        raise BadInput(f"box {text.strip()!r} must be x,y,width,height")
    return checked_box(*numbers)


def checked_box(x: float, y: float, width: float, height: float) -> Box:
    """Return a box in fractions of the photo, cut by rounding at most.

    Raises BadInput when it is not finite, has a negative side or reaches outside the photo.
    """
    told = f"box {x:g},{y:g},{width:g},{height:g}"
    if not all(map(math.isfinite, (x, y, width, height))):
        raise BadInput(f"{told} is not finite")
    if width < 0 or height < 0:
        raise BadInput(f"{told} has a negative side")
    if min(x, y) < -_EDGE or x + width > 1 + _EDGE or y + height > 1 + _EDGE:
        raise BadInput(f"{told} reaches outside the photo (use fractions from 0 to 1)")
    left, top = min(max(x, 0.0), 1.0), min(max(y, 0.0), 1.0)
    return (left, top, min(width, 1.0 - left), min(height, 1.0 - top))


def format_boxes(boxes: Iterable[Box]) -> str:
    """Write boxes as `x,y,w,h` joined by `;`, each number so that it reads back equal."""
    return ";".join(",".join(_number(side) for side in box) for box in boxes)


def _number(value: float) -> str:
    return repr(float(value)).removesuffix(".0")


def photo_names(photos: Mapping[str, Photo]) -> dict[str, str]:
    """Name every photo (sha -> `deck/name`), by its hash where that name is not the only one."""
    uses = Counter(photo.path_name for photo in photos.values())
    return {sha: photo.path_name if uses[photo.path_name] == 1 else sha for sha, photo in photos.items()}


def label_cells(label: Label, name: str, deck: str | None) -> list[Any]:
    """Return the values of one label in the order of `COLUMNS`."""
    return [
        name,
        deck,
        label.tag,
        label.value,
        label.by,
        label.at,
        format_boxes(label.boxes),
        label.place,
        label.count,
        label.asked_by,
        label.saw_machine,
        label.note,
    ]


def write_csv(path: Path, labels: Iterable[Label], photos: Mapping[str, Photo]) -> int:
    """Write label rows (photos: sha -> Photo) and return how many; the file appears whole or not at all.

    A label whose photo is in no deck keeps its hash as the name. Raises BadInput where it cannot be written.
    """
    names = photo_names(photos)
    rows = [
        label_cells(
            label,
            names.get(label.photo, label.photo),
            photos[label.photo].deck if label.photo in photos else None,
        )
        for label in labels
    ]
    write_whole(path, csv_text(COLUMNS, rows).encode())
    return len(rows)


def write_whole(path: Path, data: bytes) -> None:
    """Write a file that a person named, so that nobody ever reads half of it.

    Raises BadInput when the folder does not exist or cannot be written.
    """
    try:
        if not path.parent.is_dir():
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT))
        store.write_whole(path, data)
    except OSError as error:
        raise BadInput(f"{path} cannot be written: {error.strerror or error}") from error
