"""The repair round: each photo of a concern beside the one after, answered and closed in one screen."""

from __future__ import annotations

from starlette.responses import Response

from triage.errors import BadInput
from triage.report.awaiting import AWAITING, NO_PHOTO, OPEN, STATES, STAYS, decks_in_round, repair_round
from triage.report.repair_acts import answer_pairs
from triage.report.text import count_of
from triage.web.request_context import RequestContext

_MOST = 40
"""So many lines with pictures stand on one page; the others come when these are dealt with."""
_DECKS = 100
"""So many decks are gone through for the page of all decks; each deck has a page of its own."""
_SAID, _SEEN = "say-", "seen-"


def show(ask: RequestContext) -> Response:
    """Show what awaits a look, with both photos; below it what stays open, with the reason."""
    deck = ask.deck() if ask.query.get("d") else ""
    decks = [deck] if deck else decks_in_round(ask.library)
    lines = repair_round(ask.library, decks[:_DECKS]) if decks else []
    waiting = [one for one in lines if one.state in AWAITING]
    return ask.site.show(
        "repairs.html",
        ask,
        here="repairs",
        deck_name=deck,
        waiting=waiting[:_MOST],
        more=max(0, len(waiting) - _MOST),
        more_decks=max(0, len(decks) - _DECKS),
        stays=[one for one in lines if one.state == STAYS],
        rest=[one for one in lines if one.state in (NO_PHOTO, OPEN)],
        states=STATES,
    )


def answer(ask: RequestContext) -> Response:
    """Take the answers given side by side; what holds is closed, the rest stays open and says why."""
    said = {name.removeprefix(_SAID): ask.text(name) for name in ask.form if name.startswith(_SAID)}
    said = {line: word for line, word in said.items() if word}
    if not said:
        raise BadInput("No repair was answered.", "Choose an answer beside the photos first.")
    if any(ask.text(_SEEN + line) != "yes" for line in said):
        raise BadInput(
            "An answer was given before both photos stood on the screen, so nothing was recorded.",
            "Look at both photos, then answer.",
        )
    decks = sorted({deck for deck in ask.form.get("of", []) if deck})
    known = {one.id: one for one in repair_round(ask.library, decks or None)}
    if not said.keys() <= known.keys():
        raise BadInput(
            "Something changed since the page was shown, so nothing was recorded.", "Look at the page again."
        )
    lines = [(known[line], word) for line, word in said.items()]
    outcomes = answer_pairs(ask.library, lines, why=ask.text("why"), by=ask.by)
    left = [one for one in outcomes if one.refused]
    told = [f"{count_of(len(outcomes) - len(left), 'photo')} closed."] if outcomes else []
    told += [f"Stays open: {one.pair.names[0]}: {ask.words(one.refused or '')}" for one in left]
    others = len(lines) - len(outcomes)
    told += [f"{count_of(others, 'answer')} recorded; what they speak of stays open."] if others else []
    return ask.done(ask.url("repairs", d=ask.text("only") or None), " ".join(told))
