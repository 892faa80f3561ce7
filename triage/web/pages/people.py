"""Which spellings of a name are one person's."""

from __future__ import annotations

from starlette.responses import Response

from triage.errors import BadInput
from triage.library.people import decide as decide_in
from triage.web.pages.home import own_address
from triage.web.request_context import NeedName, RequestContext


def decide(ask: RequestContext) -> Response:
    """Record whether the speaking name is one more spelling of a known one, or another person's."""
    known, name = ask.need("known", "The known name"), ask.need("name", "The name")
    if name not in ask.session.names:
        raise NeedName("Nobody said this name in this browser.", "Say who you are first.")
    answer = ask.text("same")
    if answer not in ("yes", "no"):
        raise BadInput("Nothing was chosen.", "Choose one of the answers.")
    decide_in(ask.library, known, name, same=answer == "yes", by=name)
    words = "one person" if answer == "yes" else "two people"
    return ask.done(own_address(ask.text("next")), f"{known} and {name} are {words}. Do it again, please.")
