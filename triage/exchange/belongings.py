"""What belongs to a library beside its log and is taken over in a merge: tags, rules, models, suggestions."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, insert, select, update

from triage.errors import BadInput
from triage.library.database import writing
from triage.library.listeners import all_changed
from triage.library.store import write_whole
from triage.library.tables import suggestion

if TYPE_CHECKING:
    from triage.library import Library

_LOT = 5000


def copy_belongings(library: Library, other: Library) -> list[tuple[str, str]]:
    """Take over what is missing here; returns (what, why) of what differs and stays as it is here."""
    found = [*_tags(library, other), *_rules(library, other)]
    _models(library, other)
    _suggestions(library, other)
    return found


def _tags(library: Library, other: Library) -> Iterator[tuple[str, str]]:
    """Own tags: new ones are added, one by one, so that a differing tag keeps none of the others out."""
    from triage.domain.vocabulary import read_tags
    from triage.label.tags import add_tags

    if not other.own_tags.exists():
        return
    draft = library.caches / "merged-tag.toml"
    blocks = ["[[tag]]" + part for part in other.own_tags.read_text(encoding="utf-8").split("[[tag]]")[1:]]
    for tag, block in zip(read_tags(other.own_tags), blocks, strict=True):
        write_whole(draft, block.encode())
        try:
            add_tags(library, draft)
        except BadInput:
            yield tag.tag, "the other library defines this tag in another way; the definition here was kept"
    draft.unlink(missing_ok=True)


def _rules(library: Library, other: Library) -> Iterator[tuple[str, str]]:
    if not other.own_rules.exists():
        return
    theirs = other.own_rules.read_bytes()
    if not library.own_rules.exists():
        write_whole(library.own_rules, theirs)
    elif library.own_rules.read_bytes() != theirs:
        yield library.own_rules.name, "the other library has other rules of its own; those here were kept"


def _models(library: Library, other: Library) -> None:
    """Copy the model folders that are not here, whole or not at all."""
    if not other.models_dir.is_dir():
        return
    library.models_dir.mkdir(exist_ok=True)
    for folder in sorted(other.models_dir.iterdir()):
        target = library.models_dir / folder.name
        if not folder.is_dir() or folder.name.startswith(".") or target.exists():
            continue
        draft = library.models_dir / f".{folder.name}.tmp"
        shutil.rmtree(draft, ignore_errors=True)
        shutil.copytree(folder, draft, symlinks=True)
        draft.rename(target)


def _suggestions(library: Library, other: Library) -> None:
    """Copy the machine's words that are not here; where two differ, `unlikely` gives way to `unsure`."""
    with other.read() as there, writing(library.engine) as here:
        known = {
            (row.photo, row.tag, row.model): row.pile
            for row in here.execute(
                select(suggestion.c.photo, suggestion.c.tag, suggestion.c.model, suggestion.c.pile)
            )
        }
        fresh: list[dict[str, Any]] = []
        for row in there.execute(select(suggestion).execution_options(yield_per=_LOT)).mappings():
            pile = known.get((row["photo"], row["tag"], row["model"]))
            if pile is None:
                fresh.append(dict(row))
            elif pile == "unlikely" and row["pile"] == "unsure":
                _demote(here, row)
            if len(fresh) >= _LOT:
                here.execute(insert(suggestion), fresh)
                fresh = []
        if fresh:
            here.execute(insert(suggestion), fresh)
        all_changed(here)


def _demote(connection: Connection, row: Any) -> None:
    connection.execute(
        update(suggestion)
        .where(
            suggestion.c.photo == row["photo"],
            suggestion.c.tag == row["tag"],
            suggestion.c.model == row["model"],
        )
        .values(pile="unsure")
    )
