"""What a library holds besides its log and a merge copies: tags, rules, models, suggestions."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from typing import TYPE_CHECKING

from triage.errors import BadInput
from triage.library.store import write_whole
from triage.library.suggestions import copy_suggestions

if TYPE_CHECKING:
    from triage.library import Library


def copy_belongings(library: Library, other: Library) -> list[tuple[str, str]]:
    """Take over what is missing here; returns (what, why) of what differs and stays as it is here."""
    found = [*_tags(library, other), *_rules(library, other)]
    _models(library, other)
    copy_suggestions(library, other)
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
