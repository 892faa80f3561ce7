"""A firm's own tags: added to the library's `tags.toml` without code."""

from __future__ import annotations

import re
from dataclasses import fields
from pathlib import Path
from tempfile import TemporaryDirectory

from triage.domain.vocabulary import Tag, read_tags
from triage.errors import BadInput
from triage.library import Library
from triage.library.store import write_whole


def add_tags(library: Library, path: Path) -> tuple[list[Tag], list[Tag]]:
    """Add the tags of a file; returns (new ones, ones that were there).

    Raises BadInput, with nothing added, for a file that does not fit or a tag that differs from one
    that is there.
    """
    have = library.vocabulary().tags
    added, known = [], []
    for tag in read_tags(path):
        if tag.tag not in have:
            added.append(tag)
        elif _same(have[tag.tag], tag):
            known.append(tag)
        else:
            raise BadInput(
                f"{path}: the tag {tag.tag!r} is there already with another definition; nothing was added.",
                "Choose another name for your tag.",
            )
    if added:
        old = library.own_tags.read_text() if library.own_tags.exists() else ""
        text = old + "".join(_as_toml(tag) for tag in added)
        write_whole(library.own_tags, text.encode())
        library.forget_vocabulary()
    return added, known


def add_tag(library: Library, tag: Tag) -> bool:
    """Add one tag, checked as a file of tags is; returns whether it is new. Raises BadInput."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "tag.toml"
        path.write_text(_as_toml(tag), encoding="utf-8")
        try:
            added, _ = add_tags(library, path)
        except BadInput as error:
            raise BadInput(re.sub(r"^.*?tag\.toml(, line \d+)?: ", "", str(error)), error.hint) from error
    return bool(added)


def _same(one: Tag, other: Tag) -> bool:
    return (one.kind, one.definition, one.element) == (other.kind, other.definition, other.element)


def _as_toml(tag: Tag) -> str:
    lines = ["[[tag]]"]
    for field in fields(tag):
        value = getattr(tag, field.name)
        if isinstance(value, str) and value:
            lines.append(f"{field.name} = {_quoted(value)}")
    return "\n".join(lines) + "\n\n"


def _quoted(text: str) -> str:
    import json

    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
