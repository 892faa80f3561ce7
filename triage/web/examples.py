"""Pictures beside a tag's definition: what it is, and what looks like it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from triage.domain.vocabulary import Tag
    from triage.library import Library


def examples_of(_library: Library, _tag: Tag) -> list[dict[str, Any]]:
    """Return the example pictures of a tag."""
    return []
