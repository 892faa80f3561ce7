"""The two pages of a deck that its owner reads: what to do, what was found, what was not seen, by when.

At most three findings are shown, each with one photo; everything else stands in the record, which the
numbers point to. Concerns of one rule are one finding with its places.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from triage.domain.tiers import CAUTION, TIERS
from triage.report.advice import TODAY, advice, advice_tier, due_date, due_of_tier
from triage.report.concern_view import concern_numbers, photo_names
from triage.report.element_words import unseen
from triage.report.fact_words import without_keys
from triage.report.lifting import faults_of_lifts, lift_words
from triage.report.look import shape_key
from triage.report.phrases import AT_FINDING, MAYBE_ALLOWED, tag_words, tier_short
from triage.report.pictures import FINDING_MM, Picture, Pictures
from triage.report.seen import parts_by_state
from triage.report.source import DeckRecord, Options, Source, Stamp
from triage.report.text import and_list, clean, count_of, day_words, ended, minute_words

if TYPE_CHECKING:
    from triage.assess.records import Concern, DeckSummary
    from triage.library.records import Box
    from triage.report.firm import Firm

FINDINGS = 3
STEPS = 5
"""So many repairs are listed on the second page; the rest stand in the record's repair list."""
PLACES = 3

CALLS: Mapping[str, str] = {
    "engineer": "a licensed engineer",
    "contractor": "a contractor who repairs decks",
    "building official": "your building official",
    "owner": "you, the owner",
}
OWNER_CAUTIONS: tuple[str, ...] = (
    "These pages are about what photos show and what was measured on the day of the visit. They are no "
    "certificate and no promise that the deck is sound.",
    "What was not seen is not known to be sound.",
    CAUTION,
)


@dataclass(frozen=True)
class Finding:
    """Concerns of one rule: what was found, where, and one photo. `numbers` are those of the record."""

    numbers: tuple[int, ...]
    shape: str
    tier: str
    title: str
    where: str
    basis: str
    sha: str
    photo: str
    picture: Picture | None
    see: str

    @property
    def cited(self) -> str:
        """The numbers in words: '2 and 3'."""
        return and_list(str(number) for number in self.numbers)


@dataclass(frozen=True)
class Step:
    """One line of what to do: the repair, by when, by whom."""

    shape: str
    tier: str
    what: str
    due: str
    who: str
    cited: str


@dataclass(frozen=True)
class OwnerView:
    """Two pages about one deck."""

    deck: str
    anchor: str
    client: str
    address: str
    visit: str
    photos: int
    shape: str
    tier: str
    do: str
    due: str
    by_person: str
    findings: tuple[Finding, ...]
    more: str
    none_found: str
    not_seen: tuple[str, ...]
    steps: tuple[Step, ...]
    more_steps: str
    told: tuple[str, ...]
    reach: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    sketch: str
    draft: bool
    stamp: Stamp | None


def owner_view(
    summary: DeckSummary,
    source: Source,
    pictures: Pictures,
    options: Options,
    *,
    sketch: str,
    draft: bool,
    stamp: Stamp | None,
) -> OwnerView:
    """Return the two pages of a deck."""
    from triage.report.content import anchor

    record = source.record(summary.deck)
    private = record.private if options.show_address else {}
    groups = finding_groups(summary)
    due = due_date(summary, record, source.firm)
    left = groups[FINDINGS:]
    return OwnerView(
        deck=clean(summary.deck),
        anchor=anchor(summary.deck),
        client=clean(private.get("client", "")),
        address=clean(private.get("address", "")),
        visit=day_words(clean(summary.visit)) if summary.visit else "no single date",
        photos=len(record.photos),
        shape=shape_key(advice_tier(summary)),
        tier=tier_short(advice_tier(summary)),
        do=advice(summary, due, source.element_of),
        due=due,
        by_person=_by_person(summary),
        findings=_findings(groups[:FINDINGS], record, pictures),
        more=_more(left),
        none_found=""
        if groups
        else "Nothing was found in the photos and measurements. That does not say that there is nothing.",
        not_seen=not_seen(summary, len(record.photos), source.element_of),
        steps=_steps(groups, summary, source.firm, due),
        more_steps=_more_steps(groups),
        told=told_lines(summary, record),
        reach=reach_rows(groups, source.firm),
        cautions=OWNER_CAUTIONS,
        sketch=sketch,
        draft=draft,
        stamp=stamp,
    )


def _by_person(summary: DeckSummary) -> str:
    said = summary.tier_by_person
    if said is None:
        return ""
    return (
        f"The inspecting firm set this deck to '{tier_short(said.tier)}': {ended(clean(said.why))} "
        f"From the findings alone it is '{tier_short(summary.tier)}'."
    )


Group = tuple[tuple[int, "Concern"], ...]


def finding_groups(summary: DeckSummary) -> list[Group]:
    """Return the open concerns of persons, facts and checks, grouped by what they say, worst first."""
    grouped: dict[tuple[str, str, str], list[tuple[int, Concern]]] = {}
    for number, one in concern_numbers(summary).items():
        if one.standing != "possible" and one.status != "repaired":
            grouped.setdefault((one.rule, one.tier, one.concluded), []).append((number, one))
    rows = [tuple(rows) for rows in grouped.values()]
    return sorted(rows, key=lambda rows: (TIERS.index(rows[0][1].tier), rows[0][0]))


def _findings(groups: Sequence[Group], record: DeckRecord, pictures: Pictures) -> tuple[Finding, ...]:
    used: dict[str, int] = {}
    found = []
    for place, group in enumerate(groups, start=1):
        sha, boxes = _photo_of(group, used)
        first = used.get(sha, 0) if sha else 0
        if sha and not first:
            used[sha] = place
        one = group[0][1]
        found.append(
            Finding(
                numbers=tuple(number for number, _ in group),
                shape=shape_key(one.tier),
                tier=tier_short(one.tier),
                title=title_of(one),
                where=finding_places([each for _, each in group]),
                basis=_basis([each for _, each in group]),
                sha=sha,
                photo=photo_names([sha], record)[0] if sha else "",
                picture=pictures.printed(sha, FINDING_MM, boxes) if sha and not first else None,
                see=f"The photo of finding {first} shows this as well." if first else "",
            )
        )
    return tuple(found)


def _photo_of(group: Group, used: Mapping[str, int]) -> tuple[str, tuple[Box, ...]]:
    """Return the best photo of a finding that no finding above it shows, else its best one."""
    shas = [(sha, tuple(one.boxes.get(sha, ()))) for _, one in group for sha in one.photos]
    fresh = [row for row in shas if row[0] not in used]
    marked = [row for row in fresh if row[1]]
    return next(iter(marked or fresh or shas), ("", ()))


def title_of(one: Concern) -> str:
    """Return what a concern says, as one sentence."""
    return ended(without_keys(clean(one.concluded or tag_words(one.tag or one.rule))))


def finding_places(group: Sequence[Concern]) -> str:
    """Return where a finding is, in one sentence; empty where no place was stated."""
    places = list(dict.fromkeys(clean(one.place) for one in group if one.place))
    if not places:
        return ""
    more = len(places) - PLACES
    words = "; ".join(places[:PLACES])
    return f"Where: {words}; and {count_of(more, 'more place')}." if more > 0 else f"Where: {words}."


def _basis(group: Sequence[Concern]) -> str:
    """Return what a finding rests on, in words for an owner."""
    kinds = {one.standing for one in group}
    if "verified-on-site" in kinds:
        words = "Checked on site."
    elif kinds == {"calculated"}:
        words = "Calculated from the sizes of the deck; to be checked on site."
    elif any(one.photos for one in group):
        words = "Seen by a person in a photo; to be checked on site."
    else:
        words = "Told or measured at the visit; there is no photo."
    older = may_be_allowed(group)
    return f"{words} {older}" if older else words


def may_be_allowed(group: Sequence[Concern]) -> str:
    """Return that a finding may have been allowed when built, where it only departs from today's code."""
    return MAYBE_ALLOWED if all(one.kind == "departs-from-today" for one in group) else ""


def _more(left: Sequence[Group]) -> str:
    if not left:
        return ""
    titles = [f"{title_of(group[0][1])} ({tier_short(group[0][1].tier)})" for group in left[:FINDINGS]]
    others = len(left) - len(titles)
    tail = f" {count_of(others, 'further finding').capitalize()} in the record." if others else ""
    return f"Also found: {' '.join(titles)}{tail}"


def not_seen(summary: DeckSummary, photos: int, element_of: Mapping[str, str]) -> tuple[str, ...]:
    """Return what was not seen, in whole sentences; what is open is said without a key."""
    by = parts_by_state(summary, element_of)
    lines = [f"{words} {unseen(by[state])}." for state, words in STATES.items() if state in by]
    if photos == 0:
        lines.append("There is no photo of this deck.")
    elif summary.unreviewed:
        lines.append("Some photos have not been looked through for every kind of damage yet.")
    if not lines and summary.gaps != "none":
        lines.append("Parts of the deck were not seen well enough to judge.")
    if not lines and not summary.coverage:
        lines.append("Nobody has recorded which parts of the deck the photos show.")
    return tuple(lines)


STATES: Mapping[str, str] = {
    "not-seen": "No photo shows:",
    AT_FINDING: "Shown only where something was found, not well enough to judge the rest:",
    "poorly": "Not seen well enough to judge:",
    "concealed": "Covered, and not to be seen without opening:",
}


def _steps(groups: Sequence[Group], summary: DeckSummary, firm: Firm, due: str) -> tuple[Step, ...]:
    """Return what to have done, worst first; a deck that is to be seen again says so."""
    rows = []
    for group in [one for one in groups if one[0][1].repair][:STEPS]:
        one = group[0][1]
        rows.append(
            Step(
                shape_key(one.tier),
                tier_short(one.tier),
                ended(without_keys(clean(one.repair))),
                _due(one.tier, summary, firm, due),
                CALLS.get(one.call, clean(one.call or "")),
                and_list(str(number) for number, _ in group),
            )
        )
    return tuple(rows)


def _due(tier: str, summary: DeckSummary, firm: Firm, due: str) -> str:
    """Return by when a repair is due: the deck's own date for what is worst, the firm's days for the rest."""
    worst = advice_tier(summary)
    if worst in TIERS and TIERS.index(tier) <= TIERS.index(worst):
        return "before anybody is on or under it" if due == TODAY else due or AGREE
    return due_of_tier(tier, summary, firm) or ("next visit" if tier == "watch" else AGREE)


AGREE = "date to agree: ____________"


def _more_steps(groups: Sequence[Group]) -> str:
    left = len([one for one in groups if one[0][1].repair]) - STEPS
    return f"{count_of(left, 'more repair')} in the record's repair list." if left > 0 else ""


def told_lines(summary: DeckSummary, record: DeckRecord) -> tuple[str, ...]:
    """Return who was told of a stop-use and when; that nobody is recorded as told, where so."""
    person = summary.tier_by_person
    stopped = "stop-use" in (summary.tier, person.tier if person else None)
    lines = [
        f"Told to stop using the deck: {clean(one.told)}, {clean(one.how)}, {minute_words(one.told_at)}."
        for one in record.warnings
    ]
    if stopped and not lines:
        lines.append("There is no record that anybody was told to stop using this deck.")
    lines += [
        f"The stop was lifted on {minute_words(one.at)}: {ended(clean(one.why))}{lift_words(fault)}"
        for one, fault in zip(record.lifts, faults_of_lifts(record), strict=True)
    ]
    return tuple(lines)


def reach_rows(groups: Sequence[Group], firm: Firm) -> tuple[tuple[str, str], ...]:
    """Return whom to call and how, the firm last."""
    wanted = {one.call for group in groups for _, one in group}
    rows = []
    for key, words in CALLS.items():
        if key in wanted and key != "owner":
            how = firm.call.get(key.replace(" ", "-"), "")
            rows.append(
                (words[0].upper() + words[1:], how or "ask for one who is licensed where the deck stands")
            )
    if firm.known:
        rows.append(("Questions about these pages", ", ".join((firm.inspector or firm.name, *firm.reach()))))
    return tuple(rows)
