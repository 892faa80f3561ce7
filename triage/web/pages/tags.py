"""The vocabulary, and a firm's own tags."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from starlette.responses import Response

from triage.domain.vocabulary import SHOWS, Tag
from triage.errors import BadInput
from triage.label.tags import add_tag
from triage.report.phrases import tag_words
from triage.web.examples import examples_of
from triage.web.request_context import RequestContext, WrongFields
from triage.web.settings import more_steps, set_step

if TYPE_CHECKING:
    from triage.library import Library

FIELDS = ("looks_like", "looks_alike_but_is_not", "how_to_photograph", "source")


def show(ask: RequestContext) -> Response:
    """Show every tag with its definition, and the form for one of the firm's own."""
    return _page(ask, {})


def _page(ask: RequestContext, typed: dict[str, str], fault: str = "", status: int = 200) -> Response:
    vocabulary = ask.library.vocabulary()
    groups: list[tuple[str, list[Tag]]] = [
        ("Core tags: asked of every photo", [vocabulary.tags[tag] for tag in vocabulary.core]),
        ("Other tags", [one for one in vocabulary.tags.values() if one.kind == "defect" and not one.core]),
        ("Parts", [one for one in vocabulary.tags.values() if one.kind == "element"]),
    ]
    return ask.site.show(
        "tags.html",
        ask,
        here="tags",
        groups=groups,
        examples={name: examples_of(ask.library, tag) for name, tag in vocabulary.tags.items()},
        elements=vocabulary.elements,
        typed=typed,
        steps=more_steps(ask.library),
        fault=fault,
        status=status,
    )


def add(ask: RequestContext) -> Response:
    """Add one tag of the firm's own."""
    _ = ask.by
    said = {name: ask.text(name) for name in ("tag", "kind", "definition", "element", *FIELDS)}
    more: dict[str, Any] = {name: said[name] for name in FIELDS}
    element = said["tag"].removeprefix(SHOWS) if said["kind"] == "element" else said["element"]
    try:
        new = add_tag(
            ask.library, Tag(said["tag"], said["kind"], said["definition"], element or None, **more)
        )
    except BadInput as error:
        if ask.in_place:
            raise WrongFields({_field_of(ask.library, said): f"{error} {error.hint}".strip()}) from error
        return _page(ask, said, f"{error} {error.hint}".strip(), 400)
    words = tag_words(said["tag"])
    return ask.done(ask.url("tags"), f"The tag “{words}” {'is added' if new else 'was there already'}.")


def _field_of(library: Library, said: dict[str, str]) -> str:
    """Return which field of the form a refused tag is wrong in: its name, unless that would be taken."""
    name = said["tag"]
    if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", name) or name in library.vocabulary().tags:
        return "tag"
    return "definition" if not said["definition"] else "element"


def step(ask: RequestContext) -> Response:
    """Make a tag a step of every deck, or no longer."""
    _ = ask.by
    tag, on = ask.text("tag"), ask.text("on") == "yes"
    set_step(ask.library, tag, on=on)
    words = tag_words(tag)
    return ask.done(
        ask.url("tags"),
        f"“{words}” is {'now a step of every deck' if on else 'no longer a step of every deck'}.",
    )
