"""A firm's own tags: added to the library's `tags.toml` without code."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

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
                f"{path}: the tag {tag.tag!r} already exists with a different definition; nothing was added.",
                "Choose another name for your tag.",
            )
    added = [_with_pictures(tag, path.parent) for tag in added]
    if added:
        old = library.own_tags.read_text(encoding="utf-8") if library.own_tags.exists() else ""
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


_PICTURES = ("picture", "look_alike_picture")
_PICTURE_PX = 320
_DATA = "data:image/jpeg;base64,"


def _with_pictures(tag: Tag, folder: Path) -> Tag:
    """Return a tag with its pictures inside, small; they are named by files next to the tags file.

    Raises BadInput for a picture that is not there or cannot be read.
    """
    import base64

    from triage.errors import BadPhoto
    from triage.imaging import open_upright
    from triage.imaging.rendition import encode_jpeg

    found: dict[str, Any] = {}
    for name in _PICTURES:
        said = getattr(tag, name)
        if not said or said.startswith(_DATA):
            continue
        try:
            rgb = open_upright(folder / said).rgb
        except (OSError, BadPhoto) as error:
            raise BadInput(
                f"tag '{tag.tag}', field '{name}': the picture {said!r} cannot be read ({error}).",
                "Put the picture next to the tags file and name it there.",
            ) from error
        found[name] = _DATA + base64.b64encode(encode_jpeg(_small(rgb), 78)).decode()
    return replace(tag, **found) if found else tag


def _small(rgb: Any) -> Any:
    import cv2

    scale = min(1.0, _PICTURE_PX / max(rgb.shape[:2]))
    size = (max(1, round(rgb.shape[1] * scale)), max(1, round(rgb.shape[0] * scale)))
    return cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)


def picture_of(tag: Tag, which: str) -> bytes | None:
    """Return the JPEG of a tag's own `picture` or `look_alike_picture`, or null."""
    import base64

    said = getattr(tag, which)
    return base64.b64decode(said.removeprefix(_DATA)) if said.startswith(_DATA) else None


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
