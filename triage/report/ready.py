"""What is left before a report may be issued or a letter written: a list, each entry with what mends it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from triage.domain.acts import Refused
from triage.domain.plurals import count_of
from triage.domain.reviewing import is_reviewed
from triage.library import queries
from triage.library.naming import distinct_names

if TYPE_CHECKING:
    from triage.assess.records import DeckEvidence, DeckSummary
    from triage.library import Library
    from triage.library.records import Photo

KINDS = {
    "unanswered": "core questions that nobody has answered",
    "unconfirmed": "suggestions of the machine that nobody has confirmed or denied",
    "dispute": "answers on which people disagree",
    "not-looked-for": "parts that nobody has looked for",
    "contradiction": "facts that cannot both be true",
    "question": "questions of ingest that nobody has answered",
    "waiting": "photos that wait for a deck",
}
"""What blocks, with what each kind is, in the order of the list."""
LIKELY = "likely"


@dataclass(frozen=True)
class Blocking:
    """One thing that is left. `photo` is a hash or null, `mend` a command; `about` a tag or an element."""

    kind: str
    deck: str | None
    photo: str | None
    name: str | None
    about: str
    detail: str
    mend: str

    def to_json(self) -> dict[str, Any]:
        """Return the keys that `report --ready --json` promises, and a few more."""
        return dict(vars(self))


def blocking(
    lib: Library, decks: Sequence[str] | None = None, evidence: Sequence[DeckEvidence] | None = None
) -> list[Blocking]:
    """Return what is left before the report of some decks, or of all, may be issued; none when ready.

    'Cannot tell' is an answer: it makes a gap, which is printed, and blocks nothing. Photos that wait for a
    deck block the report of all decks; a question whether photos are of a certain deck blocks that deck's
    report too. `evidence` is that of the decks, where it is at hand. Raises BadInput for an unknown deck.
    """
    from triage.assess.evidence import gather_all

    if evidence is None:
        evidence = gather_all(lib, decks) if decks or queries.decks(lib) else ()
    found = [left for one in evidence for left in of_deck(one, lib)]
    return [*found, *_waiting(lib, decks)]


def of_deck(evidence: DeckEvidence, lib: Library) -> list[Blocking]:
    """Return what is left on one deck."""
    core = lib.vocabulary().core
    return [
        *_questions(evidence, core),
        *_disputes(evidence),
        *_never_looked_for(evidence),
        *_contradictions(evidence),
    ]


def check_ready(
    lib: Library,
    summaries: Sequence[DeckSummary],
    act: str,
    evidence: Sequence[DeckEvidence] | None = None,
) -> None:
    """Raise Refused, naming the first thing that is left, where a report is not ready to issue.

    `act` is 'issue' or 'letter'; `evidence` is that of the decks, where it is at hand.
    """
    known = queries.decks(lib)
    names = [one.deck for one in summaries]
    left = blocking(lib, None if set(known) == set(names) else names, evidence)
    if left:
        first = left[0]
        more = f", and {len(left) - 1} more" if len(left) > 1 else ""
        where = first.name or first.deck or "the library"
        what = "The report cannot be issued" if act == "issue" else "The letter cannot be written"
        detail = f"{what}: {first.detail} ({where}){more}"
        refused = Refused(act, "ready", detail, first.name, deck=first.deck or "")
        refused.hint = f"{first.mend}. The whole list: deck-triage report --ready"
        raise refused


def _questions(evidence: DeckEvidence, core: Sequence[str]) -> Iterator[Blocking]:
    names = _names(evidence)
    for one in evidence.visits():
        for photo in one.photos:
            left: dict[str, list[str]] = {"unanswered": [], "unconfirmed": []}
            for tag in core:
                word, guess = one.words.get((photo.sha, tag)), one.suggestions.get((photo.sha, tag))
                answer, pile = word.value if word else None, guess.pile if guess else None
                if not is_reviewed(answer, pile, one.promise.get(tag)):
                    left["unconfirmed" if pile == LIKELY else "unanswered"].append(tag)
            for kind, tags in left.items():
                if tags:
                    yield _question(kind, photo, names[photo.sha], tags)


def _names(evidence: DeckEvidence) -> dict[str, str]:
    """Name a deck's photos so that a command finds each: two visits may have photos of one name."""
    return distinct_names(photo for one in evidence.visits() for photo in one.photos)


def _question(kind: str, photo: Photo, name: str, tags: Sequence[str]) -> Blocking:
    answers = " ".join(f"{tag}=ANSWER" for tag in tags)
    what = "nobody has answered" if kind == "unanswered" else "nobody has confirmed or denied"
    detail = f"{what} {', '.join(tags)}"
    mend = f"deck-triage label set {name} {answers} --by NAME"
    return Blocking(kind, photo.deck, photo.sha, name, tags[0], detail, mend)


def _disputes(evidence: DeckEvidence) -> Iterator[Blocking]:
    names = _names(evidence)
    for one in evidence.visits():
        photos = {photo.sha for photo in one.photos}
        for (sha, tag), word in sorted(one.words.items()):
            if word.disputed and sha in photos:
                name = names[sha]
                mend = f"deck-triage settle {name} {tag}=VALUE --why TEXT --by NAME"
                yield Blocking("dispute", one.deck, sha, name, tag, f"people disagree about {tag}", mend)


def _never_looked_for(evidence: DeckEvidence) -> Iterator[Blocking]:
    from triage.assess.coverage import needed
    from triage.domain.vocabulary import SHOWS

    facts = evidence.fact_values()
    looked_for = {tag for one in evidence.visits() for (_, tag) in one.words}
    for need in needed(facts):
        if SHOWS + need.element in looked_for or need.element in (facts.get("concealed") or ()):
            continue
        name = need.element.replace("-", " ")
        mend = f"deck-triage label ask --deck {evidence.deck} --tag {SHOWS}{need.element} --by NAME"
        yield Blocking(
            "not-looked-for",
            evidence.deck,
            None,
            None,
            need.element,
            f"nobody has said which photos show the {name}, or that none does",
            mend,
        )


def _contradictions(evidence: DeckEvidence) -> Iterator[Blocking]:
    from triage.structure.facts import contradictions

    for fault in contradictions(evidence.fact_values()):
        mend = f"deck-triage facts show {evidence.deck}, then facts set the one that is wrong"
        yield Blocking("contradiction", evidence.deck, None, None, "facts", fault, mend)


def _waiting(lib: Library, decks: Sequence[str] | None) -> Iterator[Blocking]:
    """Yield the questions of ingest: for some decks those that ask about one of them, else all."""
    from triage.ingest.questions import open_questions
    from triage.library.counts import waiting_count
    from triage.library.records import UNSORTED

    questions = open_questions(lib)
    for one in questions:
        if decks and one.beside not in decks:
            continue
        proposed = f" (proposed: {one.proposal})" if one.proposal else ""
        mend = f"deck-triage decks answer {one.id} --by NAME{proposed}, or with --deck DECK"
        yield Blocking("question", one.beside, one.photos[0], None, one.id, one.reason, mend)
    number = 0 if decks else waiting_count(lib) - len({sha for one in questions for sha in one.photos})
    if number > 0:
        detail = count_of(number, "photo waits for a deck", "photos wait for a deck")
        mend = f"deck-triage photos --deck {UNSORTED}, then deck-triage move PHOTO --deck DECK --by NAME"
        yield Blocking("waiting", None, None, None, "deck", detail, mend)
