"""From rules that hold to concerns at their places, with the best evidence first."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from triage.assess.conditions import Support
from triage.assess.disputes import disputes
from triage.assess.places import place_key
from triage.assess.records import Concern, DeckEvidence, rule_of_finding
from triage.assess.rules import DEPARTS_ENDS, GRADE_OF_TIER, Rule, RuleBook, fact_elements
from triage.assess.severity import BY_RATIO, Grade, Matrix
from triage.assess.unsaid import HEIGHT
from triage.assess.view import DeckView, Item, chance_ends, count_places
from triage.domain.reviewing import ABSENT, PRESENT
from triage.domain.tiers import STANDINGS, tier_rank
from triage.domain.vocabulary import SHOWS
from triage.library.records import Finding

NOT_AGAIN = "Not looked at again at this visit; it stays open."
LOOKED_AGAIN = (
    "Answered absent on a photo of this visit; it stays open until a person closes it with that photo."
)


@dataclass(frozen=True)
class Fired:
    """A rule that holds for a deck, what made it hold, how bad it is, and its tier at the deck's height."""

    rule: Rule
    support: Support
    view: DeckView
    grade: Grade
    tier: str
    weight: float


def fire(view: DeckView, book: RuleBook) -> list[Fired]:
    """Return every rule that holds, by people's answers first, else with suggestions taken as true."""
    fired = []
    for rule in book.in_order:
        support = rule.when.holds(view)
        if support is not None:
            fired.append(_fired(rule, support, view, book))
            continue
        guessed = rule.when.holds(view.with_guesses)
        if guessed is not None:
            fired.append(_fired(rule, replace(guessed, standing="possible"), view.with_guesses, book))
    return fired


def _fired(rule: Rule, support: Support, view: DeckView, book: RuleBook) -> Fired:
    matrix, grade = book.matrix, book.grade(rule)
    fall = matrix.fall(view.fact(HEIGHT))
    if rule.severity == BY_RATIO:
        graded = [matrix.grade_of_check(name, view.checks[name].ratio) for name in support.checks]
        known = [one for one in graded if one is not None]
        grade = max(known, key=lambda one: matrix.weight(one, fall), default=grade)
    tier = rule.tiers[fall.step]
    departs = rule.kind == "departs-from-today" or _only_departs(support, view)
    if departs:
        tier, grade = "watch", Grade("early", grade.redundancy)
    elif rule.severity == BY_RATIO:
        tier = matrix.tiers_of(grade, rule.at_least)[fall.step]
    return Fired(rule, support, view, grade, tier, matrix.weight(grade, fall))


def spoken_for(fired: Sequence[Fired], book: RuleBook) -> set[str]:
    """Return the ids of rules for which another one speaks that holds by a word at least as good.

    A rule that rests on facts alone speaks for none that rests on photos: the photos stay in the list.
    """
    by_name = {one.rule.id: one for one in fired}
    guess = {name: one.support.standing == "possible" for name, one in by_name.items()}
    found: set[str] = set()
    for one in fired:
        for name in book.replaced_by(one.rule):
            if name not in guess or (by_name[name].support.tags and not one.support.tags):
                continue
            if guess[name] or not guess[one.rule.id]:
                found.add(name)
    return found


def concerns_of(one: Fired, visits: Sequence[DeckEvidence]) -> list[Concern]:
    """Return one concern per place of the rule's leading tag, or one for the deck where no tag leads."""
    rule, support = one.rule, one.support
    lead = rule.primary_tag if rule.primary_tag in support.tags else next(iter(sorted(support.tags)), None)
    others = [item for tag in sorted(support.tags - {lead}) for item in one.view.used(tag)]
    by_place: dict[str, list[Item]] = defaultdict(list)
    for item in one.view.used(lead) if lead else ():
        by_place[place_key(item.place)].append(item)
    guess = lead if support.standing == "possible" else None
    base = _base(one, lead, visits, chance_ends(guess, visits) if guess else None)
    if not by_place:
        photos = _fact_photos(support, visits)
        shown = tuple(dict.fromkeys([*photos, *(i.photo.sha for i in others)]))
        return [replace(base, photos=shown, unconfirmed=_unconfirmed(one, shown))]
    return [_at_place(base, items, others, visits) for items in by_place.values()]


def _unconfirmed(one: Fired, shown: Sequence[str]) -> tuple[str, ...]:
    """Return photos in which the machine suggests what a rule concluded from facts; nobody confirmed them."""
    if one.support.standing == "possible":
        return ()
    items = [item for tag in one.rule.tags for item in one.view.items.get(tag, ())]
    found = (item.photo.sha for item in items if item.standing == "possible")
    return tuple(dict.fromkeys(sha for sha in found if sha not in shown))


def _disputed(one: Fired) -> str:
    """Return the sentences on facts that speak against what photos show; empty where none does."""
    if one.support.standing == "possible":
        return ""
    return " ".join(str(dispute) for dispute in disputes(one.support.tags, one.view))


def _base(
    one: Fired, lead: str | None, visits: Sequence[DeckEvidence], ends: tuple[float, float] | None
) -> Concern:
    rule = one.rule
    kind = "departs-from-today" if _only_departs(one.support, one.view) else rule.kind
    why = (
        f"{rule.why} {DEPARTS_ENDS}"
        if kind == "departs-from-today" and DEPARTS_ENDS not in rule.why
        else rule.why
    )
    dispute = _disputed(one)
    numbers = "; ".join(_check_words(one.view.checks[name]) for name in sorted(one.support.checks))
    return Concern(
        rule=rule.id,
        tag=lead,
        kind=kind,
        standing="disputed" if dispute else one.support.standing,
        status="new",
        tier=one.tier,
        photos=(),
        place=None,
        count=None,
        concluded=rule.concluded,
        why=f"{why} ({numbers}.)" if numbers else why,
        repair=rule.repair,
        verify_on_site=rule.verify_on_site,
        call=rule.call,
        source=rule.source,
        element=rule.element,
        raises=rule.raises,
        facts=_facts_behind(one),
        chance_ends=ends,
        severity=one.grade.severity,
        redundancy=one.grade.redundancy,
        weight=one.weight,
        remark=dispute,
    )


def _only_departs(support: Support, view: DeckView) -> bool:
    """Return whether nothing but checks of kind 'departs-from-today' made the rule hold."""
    if support.tags or not support.checks:
        return False
    return all(view.checks[name].kind == "departs-from-today" for name in support.checks)


def _check_words(check: Any) -> str:
    if check.ratio is None:
        return f"{check.check}: {check.verdict}, {check.why.rstrip('.')}"
    unit = f" {check.unit}" if check.unit else ""
    return f"{check.check}: {check.demand:g}{unit} against {check.capacity:g}{unit}, {check.verdict}"


def _fact_photos(support: Support, visits: Sequence[DeckEvidence]) -> list[str]:
    facts = visits[-1].facts
    return [photo for key in sorted(support.facts) if key in facts for photo in facts[key].photos]


def _at_place(
    base: Concern, items: list[Item], others: list[Item], visits: Sequence[DeckEvidence]
) -> Concern:
    standing = base.standing
    if standing == "seen-by-person":
        standing = min((item.standing for item in items), key=STANDINGS.index)
    boxes: dict[str, tuple[Any, ...]] = {}
    for item in items:
        if item.boxes:
            boxes.setdefault(item.photo.sha, item.boxes)
    now = {item.visit == len(visits) - 1 for item in items}
    status = "new" if len(visits) == 1 or now == {True} else "still-there"
    if True not in now and len(visits) > 1:
        again = bool(base.tag) and answered_absent(visits[-1], base.tag or "", base.element, items[0].place)
        status = "looked-at-again" if again else "not-looked-at-again"
    return replace(
        base,
        standing=standing,
        status=status,
        remark=" ".join(part for part in (base.remark, _REMARKS.get(status, "")) if part),
        photos=tuple(dict.fromkeys(item.photo.sha for item in [*items, *others])),
        place=next((item.place for item in items if item.place), None),
        count=count_places(items),
        boxes=boxes,
    )


_REMARKS = {"not-looked-at-again": NOT_AGAIN, "looked-at-again": LOOKED_AGAIN}


def answered_absent(
    evidence: DeckEvidence, tag: str, element: str | None, place: str | None
) -> tuple[str, ...]:
    """Return the photos of a visit that may close a concern: the part seen, the defect absent, the place.

    Photos that name another place are left out; where one side names no place a person compares the two.
    """
    found = []
    for photo in evidence.photos:
        word, shown = (evidence.words.get((photo.sha, one)) for one in (tag, f"{SHOWS}{element}"))
        if word is None or shown is None or word.disputed or shown.disputed:
            continue
        places = {place_key(one.place) for one in (*word.labels, *shown.labels) if one.place}
        here = not place or not places or place_key(place) in places
        if word.value == ABSENT and shown.value == PRESENT and here:
            found.append(photo.sha)
    return tuple(found)


def finding_concern(finding: Finding, *, current: bool, matrix: Matrix, height_ft: float | None) -> Concern:
    """Return the concern that a person's finding is; probed and measured ones are verified on site.

    Nobody says which part it is of: it weighs as one whose failure drops the deck.
    """
    grade = Grade(GRADE_OF_TIER.get(finding.tier, "early"), "primary")
    return Concern(
        rule=rule_of_finding(finding),
        tag=None,
        kind="hazard",
        standing="seen-by-person" if finding.how == "seen" else "verified-on-site",
        status="new" if current else "not-looked-at-again",
        tier=finding.tier,
        photos=finding.photos,
        place=finding.place,
        count=None,
        concluded=finding.text,
        why=f"{finding.how.capitalize()} on site by {finding.by}.",
        repair="Repair as the finding requires: by a contractor who knows decks, or to an engineer's detail.",
        verify_on_site="Look again at the same place.",
        call="engineer" if finding.tier == "stop-use" else "contractor",
        source="what a person found on site",
        element=None,
        remark="" if current else NOT_AGAIN,
        severity=grade.severity,
        redundancy=grade.redundancy,
        weight=matrix.weight(grade, matrix.fall(height_ft)),
    )


def check_concern(check: Any, facts: Iterable[str], matrix: Matrix, height_ft: float | None) -> Concern:
    """Return the concern of a check that is over and that no rule took up."""
    departs = check.kind == "departs-from-today"
    fall = matrix.fall(height_ft)
    grade = matrix.grade_of_check(check.check, check.ratio) or Grade("wrong", "shared")
    grade = Grade("early", grade.redundancy) if departs else grade
    return Concern(
        rule=f"check-{check.check}",
        tag=None,
        kind=check.kind,
        standing="calculated",
        status="new",
        tier="watch" if departs else matrix.tiers_of(grade)[fall.step],
        photos=(),
        place=None,
        count=None,
        concluded=f"The check {check.check} is over.",
        why=f"{_check_words(check)}. {check.why}" + (f" {DEPARTS_ENDS}" if departs else ""),
        repair="Bring the part within the table, or have it designed.",
        verify_on_site="Measure again what the check is based on.",
        call="contractor",
        source=check.source,
        element=None,
        facts=tuple(sorted(facts)),
        severity=grade.severity,
        redundancy=grade.redundancy,
        weight=matrix.weight(grade, fall),
    )


def _facts_behind(one: Fired) -> tuple[str, ...]:
    """Return the facts that made a rule hold; a check counts for all facts of the rule's element."""
    behind = set(one.support.facts)
    if one.support.checks:
        behind |= {key for key in one.view.facts if fact_elements().get(key) == one.rule.element}
    return tuple(sorted(behind))


def with_status(concern: Concern, before: set[str], evidence: DeckEvidence) -> Concern:
    """Return a concern that rests on facts with its status; `before` are the rules that held earlier.

    It is still there when one of its facts was recorded again at this visit.
    """
    if concern.count is not None or concern.rule not in before:
        return concern
    facts = evidence.facts
    again = any(facts[key].visit == evidence.visit for key in concern.facts if key in facts)
    if again:
        return replace(concern, status="still-there")
    return replace(concern, status="not-looked-at-again", remark=NOT_AGAIN)


def worst_first(concern: Concern) -> tuple[Any, ...]:
    """Return the key that sorts concerns: open before closed, by tier, standing, rule, place."""
    return (
        not concern.is_open,
        tier_rank(concern.tier),
        STANDINGS.index(concern.standing),
        concern.rule,
        place_key(concern.place),
    )
