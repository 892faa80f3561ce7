"""The tags: what may be seen in a photo, each with its definition, its look and its look-alikes.

The shipped vocabulary is `triage/data/vocabulary.toml`; a firm adds its own tags in a file of the same form
(`[[tag]]` tables) without code.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from triage.domain.packaged import DATA
from triage.domain.toml_lines import line_of, table_spans
from triage.errors import BadInput

SHIPPED = DATA / "vocabulary.toml"
ELEMENTS: tuple[str, ...] = (
    "ledger",
    "flashing",
    "hanger",
    "connector",
    "joist",
    "band",
    "beam",
    "post",
    "footing",
    "brace",
    "hold-down",
    "guard",
    "guard-post",
    "stair",
    "stringer",
    "decking",
    "whole-deck",
)
"""Parts of a deck that a photo may show, along the load path from the house outward."""
KINDS = ("defect", "element")
SHOWS = "shows-"
_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


@dataclass(frozen=True)
class Tag:
    """One thing that may be seen in a photo.

    `kind` is 'defect', or 'element' for `shows-<element>` tags; `element` is the part it belongs to.
    """

    tag: str
    kind: str
    definition: str
    element: str | None = None
    core: bool = False
    looks_like: str = ""
    looks_alike_but_is_not: str = ""
    how_to_photograph: str = ""
    source: str = ""
    picture: str = ""
    """A small picture of what it is: a file beside the firm's own file, kept in it as data."""
    look_alike_picture: str = ""
    """A small picture of what looks like it but is not."""


@dataclass(frozen=True)
class Vocabulary:
    """All tags of a library by name, in the order of the files."""

    tags: Mapping[str, Tag]

    @cached_property
    def core(self) -> tuple[str, ...]:
        """The tags that must be answered for every photo."""
        return tuple(name for name, tag in self.tags.items() if tag.core)

    @cached_property
    def elements(self) -> tuple[str, ...]:
        """The elements that have a `shows-` tag: the design's by load path, then own ones."""
        shown = [name.removeprefix(SHOWS) for name, tag in self.tags.items() if tag.kind == "element"]
        return (*(name for name in ELEMENTS if name in shown), *(n for n in shown if n not in ELEMENTS))

    @cached_property
    def defects(self) -> tuple[str, ...]:
        """The tags of kind 'defect'."""
        return tuple(name for name, tag in self.tags.items() if tag.kind == "defect")

    @cached_property
    def element_of(self) -> Mapping[str, str]:
        """The element that each tag belongs to, where it belongs to one."""
        return {name: tag.element for name, tag in self.tags.items() if tag.element is not None}

    def place_of(self, element: str | None) -> int:
        """Return where an element stands along the load path: after all of them where it is none of them."""
        return self._places.get(element or "", len(self.elements))

    @cached_property
    def _places(self) -> Mapping[str, int]:
        return {element: place for place, element in enumerate(self.elements)}

    def tag(self, name: str) -> Tag:
        """Return a tag by its name; raises BadInput, with near names, for one that is unknown."""
        if name in self.tags:
            return self.tags[name]
        near = difflib.get_close_matches(name, self.tags, n=3, cutoff=0.5)
        hint = f"Did you mean {' or '.join(near)}?" if near else "`deck-triage tags` lists all of them."
        raise BadInput(f"There is no tag '{name}'.", hint)


def load_vocabulary(extra: Path | None = None) -> Vocabulary:
    """Return the shipped vocabulary with the tags of `extra` (a firm's TOML) added to it.

    A tag of `extra` that repeats a known one word for word changes nothing; raises BadInput when it differs
    from the known one, or when a file cannot be taken.
    """
    tags = {tag.tag: tag for tag in _read(SHIPPED, shipped=True)}
    if extra is not None and extra.exists():
        for tag in read_tags(extra):
            known = tags.setdefault(tag.tag, tag)
            if replace(known, core=False) != tag:
                raise BadInput(
                    f"{extra}: tag '{tag.tag}' is already there with another definition.",
                    "Give the new tag another name, or make both definitions the same.",
                )
    return Vocabulary(tags)


def read_tags(path: Path) -> list[Tag]:
    """Return the tags of a firm's TOML file, checked.

    Raises BadInput naming the file, the line and the field.
    """
    return _read(path, shipped=False)


def _read(path: Path, *, shipped: bool) -> list[Tag]:
    try:
        text = path.read_text(encoding="utf-8")
        rows = tomllib.loads(text).get("tag", [])
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadInput(f"{path}: cannot be read as a file of tags ({error}).") from error
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows) or not rows:
        raise BadInput(f"{path}: holds no [[tag]] table.", "Every tag starts with a line [[tag]].")
    spans = table_spans(text, "tag")
    own = (str(row.get("tag", "")) for row in rows if isinstance(row, dict))
    elements = {*ELEMENTS, *(name.removeprefix(SHOWS) for name in own if name.startswith(SHOWS))}
    tags: dict[str, Tag] = {}
    for index, row in enumerate(rows):
        span = spans[index] if index < len(spans) else (1, 1)

        def refuse(field: str, why: str, span: tuple[int, int] = span) -> BadInput:
            return BadInput(f"{path}, line {line_of(text, span, field)}: field '{field}' {why}.")

        tag = _tag_from_row(row, refuse, shipped=shipped)
        if tag.element is not None and tag.element not in elements:
            raise refuse("element", f"names no element; elements are {', '.join(sorted(elements))}")
        if tag.tag in tags:
            raise refuse("tag", f"repeats the name '{tag.tag}'")
        tags[tag.tag] = tag
    return list(tags.values())


def _tag_from_row(row: Mapping[str, Any], refuse: Any, *, shipped: bool) -> Tag:
    known = {field.name for field in fields(Tag)} - (set() if shipped else {"core"})
    for field, value in row.items():
        if field not in known:
            raise refuse(field, f"is unknown; known are {', '.join(sorted(known))}")
        if not isinstance(value, bool if field == "core" else str):
            raise refuse(field, "must be true or false" if field == "core" else "must be text")
    for field in ("tag", "kind", "definition"):
        if not str(row.get(field, "")).strip():
            raise refuse(field, "is missing or empty")
    if not _NAME.fullmatch(row["tag"]):
        raise refuse("tag", f"must be lower case with hyphens, as 'loose-post', not '{row['tag']}'")
    if row["kind"] not in KINDS:
        raise refuse("kind", f"must be 'defect' or 'element', not '{row['kind']}'")
    if (row["kind"] == "element") != row["tag"].startswith(SHOWS):
        raise refuse(
            "kind", "and the name do not fit: element tags, and only they, are called shows-<element>"
        )
    return Tag(**row)
