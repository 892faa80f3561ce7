"""What becomes of a concern over visits: closed by a person, looked at again, or still open.

Only a closing closes: a named person ties an after-photo to the place of a before-photo. 'Absent' on a photo
closes nothing by itself. What a closing needs is listed in the table of acts (`triage/data/acts.toml`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from triage.assess.places import one_location, place_key, same_place
from triage.assess.records import Concern, DeckEvidence, is_of_finding, rule_of_finding
from triage.assess.rules import Rule, RuleBook
from triage.assess.view import Item, group_of
from triage.domain.reviewing import ABSENT, PRESENT
from triage.domain.vocabulary import SHOWS
from triage.library.records import Closing, Photo, Word

Words = Mapping[tuple[str, str], Word]


@dataclass(frozen=True)
class Closed:
    """A closing that holds: its rule (null for a finding or a bare check), both photos and their visits."""

    closing: Closing
    rule: Rule | None
    before: Photo | None
    after: Photo
    visit: int

    def covers(self, item: Item) -> bool:
        """Return whether evidence lies at the closed place and is older than the after-photo."""
        if self.rule is None or item.tag != self.rule.primary_tag or item.photo.sha == self.after.sha:
            return False
        newer = item.visit > self.visit or (
            item.visit == self.visit and (item.photo.taken_at or "") > (self.after.taken_at or "~")
        )
        return not newer and self._here(item)

    def _here(self, item: Item) -> bool:
        if item.photo.sha == self.closing.before:
            return True
        if item.place:
            return same_place(item.place, self.closing.place)
        return self.before is not None and group_of(item.photo) == group_of(self.before)


@dataclass(frozen=True)
class Fault:
    """Why a closing has no effect: the condition that does not hold, the photo, and a sentence."""

    condition: str
    detail: str
    photo: str | None = None
    tag: str = ""
    element: str = ""


def closings_that_hold(visits: Sequence[DeckEvidence], book: RuleBook) -> list[Closed]:
    """Return the closings that close something, oldest first; see `fault` for those that don't."""
    found = []
    for closing in visits[-1].closings:
        if fault(closing, visits, book) is None:
            photos = _photos(visits)
            before = photos.get(closing.before)
            visit, after = photos[closing.after]
            rule = book.rules.get(closing.rule)
            found.append(Closed(closing, rule, before[1] if before else None, after, visit))
    return found


def fault(closing: Closing, visits: Sequence[DeckEvidence], book: RuleBook) -> Fault | None:
    """Return the first condition of the table that a closing does not meet, or null when it holds.

    These conditions are checked when somebody closes and again at every assessment, so that a photo that was
    moved, removed or answered otherwise since closes nothing.
    """
    second = "close" in visits[-1].second_person
    rule, photos = book.rules.get(closing.rule), _photos(visits)
    of_finding = is_of_finding(closing.rule)
    if rule is None and closing.rule.startswith("check-") or rule is not None and not rule.primary_tag:
        return Fault("seen-on-photo", f"'{closing.rule}' rests on no photo")
    if rule is None and not of_finding:
        return Fault("open-concern", f"There is no rule '{closing.rule}'")
    for name, sha in (("before", closing.before), ("after", closing.after)):
        if sha not in photos:
            return Fault("of-this-deck", f"The photo {name} is not among the deck's photos", sha)
    (first, before), (last, after) = photos[closing.before], photos[closing.after]
    found = _order_fault(closing, visits, (first, before), (last, after))
    if found is not None:
        return found
    words = visits[last].words
    if rule is None:
        found = _finding_fault(closing, visits, words)
    else:
        found = _answer_fault(closing, rule, words, second) or _place_fault(closing, rule, visits)
    return found


def _order_fault(
    closing: Closing,
    visits: Sequence[DeckEvidence],
    before: tuple[int, Photo],
    after: tuple[int, Photo],
) -> Fault | None:
    (first, one), (last, other) = before, after
    if one.sha == other.sha:
        return Fault("later-visit", "Before and after are the same photo", closing.after)
    if last <= first:
        walk = "the same visit as" if first == last else "an earlier visit than"
        when = visits[last].visit or "no known date"
        return Fault("later-visit", f"The photo after is of {walk} the photo before ({when})", closing.after)
    timed = one.taken_at is not None and other.taken_at is not None
    if timed and not closing.same_place and (other.taken_at or "")[:19] <= (one.taken_at or "")[:19]:
        told = f"The camera says that the photo after ({other.taken_at}) is the older one"
        return Fault("clock", f"{told} (before: {one.taken_at})", closing.after)
    return None


def _answer_fault(closing: Closing, rule: Rule, words: Words, second: bool) -> Fault | None:
    tag, sha = rule.primary_tag or "", closing.after
    shown, seen = words.get((sha, SHOWS + rule.element)), words.get((sha, tag))
    more = {"photo": sha, "tag": tag, "element": rule.element}
    if shown is None or shown.value != PRESENT or shown.disputed or _doubted(shown):
        part = rule.element.replace("-", " ")
        told = f"Nobody has said that the photo after shows the {part}"
        if shown is not None:
            differ = shown.disputed or len({one.value for one in shown.labels}) > 1
            how = "people disagree" if differ else f"the answer is '{shown.value}'"
            told = f"Whether the photo after shows the {part}: {how}"
        return Fault("part-seen", told, **more)
    if seen is None or seen.value != ABSENT or seen.disputed:
        what = "Nobody has answered" if seen is None else f"The answer is '{seen.value}' to"
        return Fault("defect-absent", f"{what} '{tag}' on the photo after", **more)
    others = {one.by for one in seen.labels if one.value == ABSENT} - {closing.by}
    if second and not others:
        return Fault("second-person", f"Only {closing.by} has answered on the photo after", **more)
    return None


def _doubted(shown: Word) -> bool:
    """Return whether somebody could not tell if a photo shows the part; another's yes does not settle it."""
    return not shown.settled and any(one.value != PRESENT for one in shown.labels)


def _place_fault(closing: Closing, rule: Rule, visits: Sequence[DeckEvidence]) -> Fault | None:
    if closing.same_place:
        return None
    tags = (rule.primary_tag or "", SHOWS + rule.element)
    for sha in (closing.before, closing.after):
        places = {place for one in visits for place in _places_on(one, sha, tags)}
        if not any(one_location(place, closing.place) for place in places):
            told = f" ({', '.join(sorted(places))})" if places else ""
            name = "before" if sha == closing.before else "after"
            return Fault(
                "same-place",
                f"The photo {name} does not carry the place '{closing.place}'{told}",
                sha,
                rule.primary_tag or "",
                rule.element,
            )
    return None


def _places_on(evidence: DeckEvidence, sha: str, tags: Sequence[str]) -> set[str]:
    words = (evidence.words.get((sha, tag)) for tag in tags)
    return {place_key(one.place) for word in words if word is not None for one in word.labels if one.place}


def _finding_fault(closing: Closing, visits: Sequence[DeckEvidence], words: Words) -> Fault | None:
    """A finding has no tag: its photo after shows a part, carries no defect, and the pair is confirmed."""
    known = {rule_of_finding(one): one for visit in visits for one in visit.findings}
    finding = known.get(closing.rule)
    if finding is None or finding.photos and closing.before not in finding.photos:
        return Fault("open-concern", f"There is no finding '{closing.rule}' with the photo before")
    found = looked_at_fault(closing.after, words)
    if found is not None:
        return Fault("part-seen" if "part" in found else "defect-absent", found, closing.after)
    if not closing.same_place:
        return Fault("same-place", "Nobody has confirmed that both photos show one place", closing.after)
    return None


def looked_at_fault(sha: str, words: Words) -> str | None:
    """Return why a photo does not show a repair: no part seen by a person, or a defect present on it."""
    mine = {tag: word for (photo, tag), word in words.items() if photo == sha}
    defects = sorted(
        tag
        for tag, word in mine.items()
        if not tag.startswith(SHOWS) and (word.value != ABSENT or word.disputed)
    )
    if defects:
        return f"On the photo after '{defects[0]}' is answered '{mine[defects[0]].value}'"
    shown = [tag for tag, word in mine.items() if tag.startswith(SHOWS) and word.value == PRESENT]
    if not any(not mine[tag].disputed for tag in shown):
        return "Nobody has said which part the photo after shows"
    return None


def _photos(visits: Sequence[DeckEvidence]) -> dict[str, tuple[int, Photo]]:
    return {photo.sha: (number, photo) for number, visit in enumerate(visits) for photo in visit.photos}


def closed_test(closed: Sequence[Closed]) -> Callable[[Item], bool]:
    """Return the test whether a piece of evidence was closed."""
    return lambda item: any(one.covers(item) for one in closed)


def settle(
    concerns: Sequence[Concern], closed: Sequence[Closed], visits: Sequence[DeckEvidence]
) -> list[Concern]:
    """Return the concerns with closed ones marked, and one `repaired` row for every closing that stands.

    A concern that is there again after its closing is `new` and says so.
    """
    left: list[Concern] = []
    back: set[int] = set()
    for concern in concerns:
        mine = [number for number, one in enumerate(closed) if _about(one, concern)]
        if mine and _rests_on_closed(concern, closed[mine[-1]], visits):
            continue
        if mine:
            back.update(mine)
            note = f"Closed by {closed[mine[-1]].closing.by} and seen again."
            concern = replace(concern, remark=f"{note} {concern.remark}".strip())
        left.append(concern)
    stands = {_key(one): one for number, one in enumerate(closed) if number not in back}
    return [*left, *(_repaired(one, concerns) for one in stands.values())]


def _key(one: Closed) -> tuple[str, str]:
    return (one.closing.rule, place_key(one.closing.place))


def _about(one: Closed, concern: Concern) -> bool:
    """Return whether a closing speaks of a concern: same rule or leading tag, and the same place."""
    lead = one.rule.primary_tag if one.rule else None
    same = concern.rule == one.closing.rule or (lead is not None and concern.tag == lead)
    bare = concern.place is None and concern.count is None
    return same and (
        same_place(concern.place, one.closing.place) or (bare and concern.rule == one.closing.rule)
    )


def _rests_on_closed(concern: Concern, one: Closed, visits: Sequence[DeckEvidence]) -> bool:
    """Return whether nothing newer than the closing speaks for a concern that rests on facts or findings."""
    if concern.count is not None:
        return False
    if is_of_finding(concern.rule):
        return True
    return all(visits[-1].facts[key].at <= one.closing.at for key in concern.facts if key in visits[-1].facts)


def _repaired(one: Closed, concerns: Sequence[Concern]) -> Concern:
    closing, rule = one.closing, one.rule
    same = next((concern for concern in concerns if concern.rule == closing.rule), None)
    photos = (closing.before, closing.after)
    remark = f"Closed by {closing.by}: {closing.why}"
    if rule is None:
        base = same or _bare(closing)
        return replace(base, status="repaired", photos=photos, place=closing.place, remark=remark)
    return Concern(
        rule=rule.id,
        tag=rule.primary_tag,
        kind=rule.kind,
        standing="seen-by-person",
        status="repaired",
        tier=rule.tier,
        photos=photos,
        place=closing.place,
        count=None,
        concluded=rule.concluded,
        why=rule.why,
        repair=rule.repair,
        verify_on_site=rule.verify_on_site,
        call=rule.call,
        source=rule.source,
        element=rule.element,
        remark=remark,
        raises=rule.raises,
    )


def _bare(closing: Closing) -> Concern:
    return Concern(
        rule=closing.rule,
        tag=None,
        kind="hazard",
        standing="seen-by-person",
        status="repaired",
        tier="watch",
        photos=(),
        place=closing.place,
        count=None,
        concluded="A concern that a person closed.",
        why=closing.why,
        repair=closing.why,
        verify_on_site="Look again at the same place.",
        call="owner",
        source="a person's word",
    )
