"""The example picture of a tag: the firm's own where it gave one, else the shipped one."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING

from triage.label.tags import picture_of

if TYPE_CHECKING:
    from triage.domain.vocabulary import Tag


def example_of(tag: Tag) -> bytes | None:
    """Return a picture file's bytes that show what a tag means, or null where there is none."""
    own = picture_of(tag, "picture")
    if own is not None:
        return own
    shipped = files("triage") / "web" / "static" / f"example-{tag.tag}-is.jpg"
    return shipped.read_bytes() if shipped.is_file() else None
