"""What an audit still wants answered: as questions for the screen, or as a sheet to fill in."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from triage.audit.missed_tag import Missed
from triage.label.files import COLUMNS, write_whole
from triage.label.order import Question
from triage.library import queries
from triage.library.records import AUDIT
from triage.tabular import csv_text

if TYPE_CHECKING:
    from triage.library.library import Library


def open_questions(library: Library, audits: Mapping[str, Missed]) -> list[Question]:
    """Return what is asked, photo by photo in the order of the draw, all tags of a photo together."""
    photos = {photo.sha: photo for photo in queries.photos(library)}
    tags_of: dict[str, list[str]] = {}
    for tag, one in audits.items():
        for sha in one.asked:
            tags_of.setdefault(sha, []).append(tag)
    return [Question(photos[sha], tag, AUDIT) for sha, tags in tags_of.items() for tag in tags]


def write_sheet(path: Path, asked: list[Question]) -> int:
    """Write the questions as a label file with empty values, for `label read`; returns how many there are."""
    rows = []
    for one in asked:
        known = {"photo": one.photo.sha, "deck": one.photo.deck, "tag": one.tag, "asked_by": one.asked_by}
        rows.append([known.get(column) for column in COLUMNS])
    write_whole(path, csv_text(COLUMNS, rows).encode())
    return len(asked)
