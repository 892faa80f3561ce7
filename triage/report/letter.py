"""The owner's letter: one page, plain words, the caution, and no promise."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from triage.domain.tiers import CAUTION, tier_rank
from triage.report.concern_view import concern_numbers
from triage.report.phrases import tag_words
from triage.report.source import Options, Source, Stamp
from triage.report.text import and_list, clean, count_of

if TYPE_CHECKING:
    from triage.assess.records import Concern, DeckSummary

LINES = 5
"""So many concerns are told; the rest are counted."""
LONGEST = 110
"""No line of the letter is longer than so many characters, so that it stays one page."""

ADVICE: Mapping[str | None, str] = {
    "stop-use": (
        "Please stay off the deck and out from under it from today, keep others away, and bar the way to it. "
        "This ends only when a named person lifts it after the repair."
    ),
    "repair-before-use": (
        "Please hold no gatherings on the deck and have the repairs below made before you use it again. "
        "Agree on a date for them with the person who repairs."
    ),
    "repair-this-season": "Please have the repairs below made this season.",
    "watch": "Please keep an eye on what is told below and have it looked at again at the next visit.",
    "nothing-seen": (
        "In what was photographed, nothing was seen that needs repair. This is not a promise that the deck "
        "is sound: much of a deck cannot be seen in photos."
    ),
    None: (
        "Not enough was seen or reviewed to say how the deck stands. Until that is done, please treat it "
        "with care and hold no gatherings on it."
    ),
}
CALLS: Mapping[str, str] = {
    "engineer": "a licensed engineer",
    "contractor": "a contractor who repairs decks",
    "building official": "your building official",
}


@dataclass(frozen=True)
class Letter:
    """What stands in the letter."""

    deck: str
    address: str
    client: str
    looked: str
    advice: str
    seen: tuple[str, ...]
    more: str
    not_seen: str
    call: str
    caution: str
    signer: str


def owner_letter(summary: DeckSummary, source: Source, options: Options, stamp: Stamp | None) -> Letter:
    """Return the letter about one deck; the caller refuses it while the report is a DRAFT."""
    told = [
        one
        for one in concern_numbers(summary).values()
        if one.standing != "possible" and one.status != "repaired"
    ]
    record = source.record(summary.deck)
    private = record.private if options.show_address else {}
    left = len(told) - LINES
    return Letter(
        deck=_short(summary.deck),
        address=_short(private.get("address", "")),
        client=_short(private.get("client", "")),
        looked=_looked(summary, len(record.photos)),
        advice=ADVICE[advice_tier(summary)],
        seen=tuple(_line(one) for one in told[:LINES]),
        more=f"and {count_of(left, 'more point')}, told in the report" if left > 0 else "",
        not_seen=_not_seen(summary),
        call=_call(told),
        caution=CAUTION,
        signer=_short(stamp.signer) if stamp else "",
    )


def advice_tier(summary: DeckSummary) -> str | None:
    """Return the tier behind the advice: a person's own where it is worse than the computed one."""
    person = summary.tier_by_person
    if person is not None and tier_rank(person.tier) < tier_rank(summary.tier):
        return person.tier
    return summary.tier


def _looked(summary: DeckSummary, photos: int) -> str:
    when = f" from the visit of {_short(summary.visit)}" if summary.visit else ""
    return f"{count_of(photos, 'photo')} of your deck{when} {'was' if photos == 1 else 'were'} looked at."


def _line(one: Concern) -> str:
    what = clean(one.concluded or tag_words(one.tag or one.rule)).rstrip(".")
    where = f" ({clean(one.place)})" if one.place else ""
    doubt = (
        " People disagree about this; it counts until it is settled." if one.standing == "disputed" else ""
    )
    older = " It may have been allowed when the deck was built." if one.kind == "departs-from-today" else ""
    return _short(f"{what}{where}.") + doubt + older


def _not_seen(summary: DeckSummary) -> str:
    hidden = [tag_words(one.element) for one in summary.coverage if one.seen in ("not-seen", "concealed")]
    poorly = [tag_words(one.element) for one in summary.coverage if one.seen == "poorly"]
    parts = []
    if hidden:
        parts.append(f"Not seen at all: {and_list(hidden)}.")
    if poorly:
        parts.append(f"Not seen well enough to judge: {and_list(poorly)}.")
    if summary.unreviewed:
        parts.append("Some photos were not yet answered by a person.")
    if not parts and summary.gaps != "none":
        parts.append("Parts of the deck were not seen well enough to judge.")
    return _clip(" ".join(parts), 3 * LONGEST)


def _call(told: list[Concern]) -> str:
    wanted = {one.call for one in told}
    names = [words for key, words in CALLS.items() if key in wanted]
    return f"Please call {and_list(names)} and show them the report." if names else ""


def _short(text: str | None) -> str:
    return _clip(clean(text or ""), LONGEST)


def _clip(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1].rstrip() + "\u2026"
