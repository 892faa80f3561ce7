"""Pictures beside a tag's definition: what it is, and what looks like it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.responses import Response

from triage.domain.vocabulary import SHOWS
from triage.label.tags import picture_of
from triage.report.phrases import tag_words
from triage.web.render import static_files, static_version
from triage.web.request_context import NotThere, RequestContext, url

if TYPE_CHECKING:
    from triage.domain.vocabulary import Tag
    from triage.library import Library

RENDERED = "Rendered pictures of invented decks."
OWN = "Pictures of your own."
NO_PICTURE = "There is no example picture of it yet: go by the words, and choose “cannot tell” in doubt."
_WHICH = {"is": "picture", "not": "look_alike_picture"}


def examples_of(library: Library, tag: Tag) -> list[dict[str, Any]]:
    """Return the example pictures of a tag: the firm's own where it gave some, else the shipped ones."""
    words = tag_words(tag.tag)
    said = {"is": words.capitalize(), "not": f"Looks like it, but is not: {words}"}
    if tag.kind == "element":
        said = {"is": f"Shows the {words_of_part(tag)}", "not": "Shows it too poorly to judge: cannot tell"}
    found = []
    for key, field in _WHICH.items():
        shipped = f"example-{tag.tag}-{key}.jpg"
        if getattr(tag, field):
            where, origin = url(library.path.name, f"tagpicture/{tag.tag}/{key}"), OWN
        elif shipped in static_files():
            where, origin = f"/static/{static_version()}/{shipped}", RENDERED
        else:
            continue
        found.append({"picture": where, "words": said[key], "origin": origin})
    return found


def words_of_part(tag: Tag) -> str:
    """Return the part that a tag of a part speaks of, in words."""
    return tag_words(tag.tag.removeprefix(SHOWS))


def picture(ask: RequestContext) -> Response:
    """Send a picture that the firm gave with a tag of its own. Raises NotThere."""
    tag = ask.library.vocabulary().tags.get(ask.path.get("tag", ""))
    field = _WHICH.get(ask.path.get("which", ""))
    data = picture_of(tag, field) if tag is not None and field else None
    if data is None:
        raise NotThere("There is no such picture.", "Look at the list of tags.")
    return Response(data, media_type="image/jpeg")
