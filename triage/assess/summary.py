"""The risk summary of one deck: a pure function of its evidence, the rule book and the vocabulary."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from triage.assess.combining import RHO
from triage.assess.concerns import (
    Fired,
    check_concern,
    concerns_of,
    finding_concern,
    fire,
    spoken_for,
    with_status,
    worst_first,
)
from triage.assess.coverage import coverage, gaps, go_back_for, open_up
from triage.assess.order import expected_of, exposure, joints_of, look_reason, reason
from triage.assess.records import Concern, DeckEvidence, DeckSummary, Seen
from triage.assess.rules import RuleBook
from triage.assess.severity import Matrix
from triage.assess.unclear import untold, with_untold
from triage.assess.unsaid import HEIGHT, Unsaid, unsaid
from triage.assess.view import DeckView, gather_items
from triage.assess.visits import Closed, closed_test, closings_that_hold, settle
from triage.domain.reviewing import is_reviewed
from triage.domain.tiers import worst
from triage.domain.vocabulary import Vocabulary
from triage.structure.check import LOAD_PATH, WITHIN

if TYPE_CHECKING:
    from triage.structure import Check


def assess_deck(
    evidence: DeckEvidence,
    rule_book: RuleBook,
    vocabulary: Vocabulary,
    *,
    checks: Sequence[Check] | None = None,
    rho: float = RHO,
) -> DeckSummary:
    """Return the summary of a deck at its visit; earlier visits count where nothing newer says otherwise.

    `checks` are run from the facts where they are not given; `rho` mixes the photos' probabilities.
    """
    visits = evidence.visits()
    checks = _run(evidence) if checks is None else checks
    core = {tag: vocabulary.tags[tag].element or "whole-deck" for tag in vocabulary.core}
    gaps_left = untold(visits, core)
    looked = coverage(visits, {(one.photo, one.element) for one in gaps_left}, vocabulary.element_of)
    seen = with_untold(looked, gaps_left)
    closed = _of_concerns(closings_that_hold(visits, rule_book), visits, checks, seen, rule_book)
    view = _view(visits, checks, seen, closed)
    fired = fire(view, rule_book)
    hidden = spoken_for(fired, rule_book)
    everything = settle(_concerns(fired, visits, checks, rule_book), closed, visits)
    shown = tuple(
        sorted((c.at_rho(rho) for c in everything if c.rule not in hidden or not c.is_open), key=worst_first)
    )
    gap = gaps(looked)
    gap = "some" if gap == "none" and gaps_left else gap
    missing = unreviewed(visits, vocabulary)
    left = unsaid(view, checks, rule_book)
    printed, if_true = _tiers(shown, gap, missing, left)
    matrix, height_ft = rule_book.matrix, view.fact(HEIGHT)
    fall, exposed = matrix.fall(height_ft), exposure(view.fact("extra_load"))
    asked = (*_open_tags(visits, vocabulary), *(tag for tag in core if _is_found(tag, everything)))
    elements = [*(core[tag] for tag in dict.fromkeys(asked)), *_unsaid_elements(checks)]
    apart, together, mixed = (
        expected_of([one.at_rho(at) for one in everything], exposed) for at in (0.0, 1.0, rho)
    )
    summary = DeckSummary(
        deck=evidence.deck,
        visit=evidence.visit,
        tier=printed,
        tier_if_true=if_true,
        tier_by_person=evidence.person_tier,
        gaps=gap,
        concerns=shown,
        coverage=seen,
        go_back_for=go_back_for(seen),
        open_up=open_up(seen),
        unreviewed=missing,
        checks=tuple(checks),
        joints=joints_of(everything, seen, elements, matrix, fall, exposed),
        height_class=matrix.height_class(height_ft),
        unsaid=left,
        held=frozenset(one.rule.id for one in fired),
        expected=mixed,
        expected_ends=(apart, together),
    )
    return replace(summary, reason=reason(summary, left), look_reason=look_reason(summary))


def _open_tags(visits: Sequence[DeckEvidence], vocabulary: Vocabulary) -> list[str]:
    """Return the core tags that somebody has still to answer on a photo."""
    return [tag for tag, reviewed in _pairs(visits, vocabulary) if not reviewed]


def _is_found(tag: str, concerns: Sequence[Concern]) -> bool:
    """Return whether a person found this tag and it is open: a 'yes' leaves as much to look for as no answer.

    Behind a mild fault that was found there may be a worse one, so finding it moves no deck down.
    """
    return any(one.tag == tag and one.is_open and one.standing != "possible" for one in concerns)


def _unsaid_elements(checks: Sequence[Check]) -> list[str]:
    """Return the elements of load-path checks that are not within, or that lack a fact.

    A calculated fault settles nothing about what is there: a check that is over leaves as much to look at as
    one that could not be said.
    """
    return [
        LOAD_PATH[one.check]
        for one in checks
        if one.check in LOAD_PATH and (one.verdict != WITHIN or one.missing)
    ]


def _of_concerns(
    closed: Sequence[Closed],
    visits: Sequence[DeckEvidence],
    checks: Sequence[Check],
    seen: Sequence[Seen],
    book: RuleBook,
) -> list[Closed]:
    """Return the closings of rules that hold while nothing is taken out: no other was ever a concern."""
    if not closed:
        return []
    held = {one.rule.id for one in fire(_view(visits, checks, seen, ()), book)}
    return [one for one in closed if one.rule is None or one.rule.id in held]


def deck_view(evidence: DeckEvidence, rule_book: RuleBook) -> DeckView:
    """Return a deck as the rules see it, with its checks run and what was closed taken out."""
    visits = evidence.visits()
    return _view(visits, _run(evidence), coverage(visits), closings_that_hold(visits, rule_book))


def _run(evidence: DeckEvidence) -> list[Check]:
    from triage.structure import run_checks

    return run_checks(evidence.fact_values())


def _view(
    visits: Sequence[DeckEvidence], checks: Sequence[Check], seen: Sequence[Seen], closed: Sequence[Closed]
) -> DeckView:
    return DeckView(
        gather_items(visits, closed_test(closed)),
        visits[-1].fact_values(),
        {check.check: check for check in checks},
        {one.element: one.seen for one in seen},
    )


def _concerns(
    fired: Sequence[Fired],
    visits: Sequence[DeckEvidence],
    checks: Sequence[Check],
    book: RuleBook,
) -> list[Concern]:
    height_ft = known_height_ft(visits[-1])
    concerns = [concern for one in fired for concern in concerns_of(one, visits)]
    taken_up = {name for one in fired for name in one.support.checks}
    concerns += [
        check_concern(c, visits[-1].facts, book.matrix, height_ft)
        for c in checks
        if c.verdict == "over" and c.check not in taken_up
    ]
    concerns += _findings(visits, book.matrix, height_ft)
    if len(visits) > 1 and any(concern.count is None for concern in concerns):
        before = {name for earlier in visits[:-1] for name in _held_by_facts(earlier, book)}
        concerns = [with_status(concern, before, visits[-1]) for concern in concerns]
    return concerns


def _held_by_facts(evidence: DeckEvidence, book: RuleBook) -> set[str]:
    """Return the rules, and the checks taken by no rule, that held by the facts of an earlier visit."""
    checks = _run(evidence)
    fired = fire(DeckView({}, evidence.fact_values(), {c.check: c for c in checks}, {}), book)
    return {one.rule.id for one in fired} | {f"check-{c.check}" for c in checks if c.verdict == "over"}


def known_height_ft(evidence: DeckEvidence) -> float | None:
    """Return the deck's height, or null where nobody has written it down."""
    value = evidence.fact_values().get(HEIGHT)
    return None if value is None else float(value)


def _findings(visits: Sequence[DeckEvidence], matrix: Matrix, height_ft: float | None) -> list[Concern]:
    known: dict[str, Concern] = {}
    for evidence in reversed(visits):
        for finding in evidence.findings:
            current = finding.visit == visits[-1].visit or len(visits) == 1
            concern = finding_concern(finding, current=current, matrix=matrix, height_ft=height_ft)
            known.setdefault(finding.id, concern)
    return list(known.values())


def _tiers(
    concerns: Sequence[Concern], gap: str, missing: int, left: Unsaid
) -> tuple[str | None, str | None]:
    """Return (tier, tier_if_true); null where nothing is known and nothing-seen is barred."""
    open_ones = [concern for concern in concerns if concern.is_open and concern.tier != "nothing-seen"]
    barred = gap != "none" or missing > 0 or bool(open_ones) or left.bars
    nothing = None if barred else "nothing-seen"
    printed = worst(concern.tier for concern in open_ones if concern.standing != "possible")
    return printed or nothing, worst(concern.tier for concern in open_ones) or nothing


def unreviewed(visits: Sequence[DeckEvidence], vocabulary: Vocabulary) -> int:
    """Return how many pairs of photo and core tag are not reviewed, as `domain.reviewing` says it."""
    return sum(1 for _, reviewed in _pairs(visits, vocabulary) if not reviewed)


def _pairs(visits: Sequence[DeckEvidence], vocabulary: Vocabulary) -> list[tuple[str, bool]]:
    """Return (tag, reviewed) for every photo x core tag."""
    pairs = []
    for evidence in visits:
        for photo in evidence.photos:
            for tag in vocabulary.core:
                word, guess = evidence.words.get((photo.sha, tag)), evidence.suggestions.get((photo.sha, tag))
                answer, pile = word.value if word else None, guess.pile if guess else None
                pairs.append((tag, is_reviewed(answer, pile, evidence.promise.get(tag))))
    return pairs
