"""What becomes of a concern over visits: closed by a person, looked at again, or still open.

Only a closing closes: a named person ties an after-photo to the place of a before-photo. 'Absent' on a photo
closes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from triage.assess.places import place_key, same_place
from triage.assess.records import Concern, DeckEvidence
from triage.assess.rules import Rule, RuleBook
from triage.assess.view import Item, group_of
from triage.domain.vocabulary import SHOWS
from triage.library.records import Closing, Photo


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


def fault(closing: Closing, visits: Sequence[DeckEvidence], book: RuleBook) -> str | None:
    """Return why a closing closes nothing, in one clause, or null when it holds.

    The after-photo is one of the deck's, not older than the before-photo, shows no such defect, lies at the
    place that is closed, and, where the repair is going to be covered, shows the element well.
    """
    rule = book.rules.get(closing.rule)
    if rule is None and not closing.rule.startswith(("finding-", "check-")):
        return f"there is no rule '{closing.rule}'"
    photos = _photos(visits)
    if closing.after not in photos:
        return "the after-photo is not among the deck's photos"
    visit, after = photos[closing.after]
    if closing.before in photos and photos[closing.before][0] > visit:
        return "the after-photo is older than the before-photo"
    if rule is None:
        return None
    words = visits[visit].words
    seen = words.get((after.sha, rule.primary_tag or ""))
    if seen is not None and seen.value == "present":
        return f"the after-photo itself is labelled '{rule.primary_tag}'"
    places = {label.place for label in seen.labels if label.place} if seen is not None else set()
    if places and not any(same_place(place, closing.place) for place in places):
        return f"the after-photo shows another place ({', '.join(sorted(places))})"
    shown = words.get((after.sha, SHOWS + rule.element))
    if rule.covered_after_repair and (shown is None or shown.value != "present" or shown.disputed):
        shows = f"{SHOWS}{rule.element}=present"
        return f"the repair gets covered: label the after-photo {shows} if it shows it open"
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
            note = f"Closed by {closed[mine[-1]].closing.by} and there again."
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
    if concern.rule.startswith("finding-"):
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
