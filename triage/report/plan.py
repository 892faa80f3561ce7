"""The plan for the next working day: what to close or repair first, where to go and look, and the rest.

Three lists in two orders. A deck stands in one of them: known danger first, whatever else is not known of it.
Up to twenty decks are told with photo, date and what to bring; every other one has a line of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from triage.assess.order import rank
from triage.domain.tiers import GAPS, TIERS, tier_rank
from triage.report.advice import advice_tier, due_date, needs_work
from triage.report.concern_view import photo_names
from triage.report.element_words import short_part
from triage.report.fact_words import without_keys
from triage.report.look import shape_key
from triage.report.owner import finding_groups, title_of
from triage.report.phrases import tag_words, tier_short
from triage.report.pictures import PLAN_MM, Picture, Pictures
from triage.report.repairs_list import element_of_concern
from triage.report.seen import parts_by_state
from triage.report.text import and_list, clean, count_of, minute_words

if TYPE_CHECKING:
    from triage.assess.cache.lines import Line
    from triage.assess.records import Concern, DeckSummary
    from triage.report.source import DeckRecord, Options, Source

DETAILED = 20
"""So many decks are told in full; that fits two pages."""
LEAST_LOOK = 6
"""So many of them are kept for decks to go and look at, where there are any."""

DANGER, LOOK, REST = "danger", "look", "rest"
TITLES: Mapping[str, str] = {
    DANGER: "Close or repair first",
    LOOK: "Go and see",
    REST: "Nothing further known",
}
EXPLAINED: Mapping[str, str] = {
    DANGER: "What people found, measured or calculated asks for a repair. Worst first.",
    LOOK: "Not enough is known: what carries the deck was not seen well, or a suggestion is not confirmed.",
    REST: "No repair is known to be needed, and photos show what carries the deck. This is no promise.",
}
HEIGHTS: Mapping[str, str] = {
    "to-30-in": "30 in or lower",
    "to-6-ft": "up to 6 ft high",
    "to-10-ft": "up to 10 ft high",
    "above-10-ft": "above 10 ft",
    "unknown": "height not known",
}
UNKNOWN = "unknown"
BRING: Mapping[str, str] = {
    "ledger": "wrench, flashlight",
    "band": "probe, flashlight",
    "flashing": "brush, camera",
    "hanger": "flashlight, camera",
    "connector": "wire brush, camera",
    "joist": "probe, flashlight",
    "beam": "probe, level",
    "post": "probe, level",
    "footing": "shovel, tape",
    "guard": "tape",
    "guard-post": "wrench",
    "stair": "tape",
    "stringer": "tape, flashlight",
    "decking": "probe",
}
"""What a look at a part takes (common practice)."""
CARRYING = ("ledger", "hanger", "beam", "post", "footing", "joist")


@dataclass(frozen=True)
class PlanRow:
    """One deck of the plan."""

    deck: str
    anchor: str
    address: str
    shape: str
    tier: str
    height: str
    finding: str
    detail: str
    picture: Picture | None
    photo: str
    told: str
    due: str
    bring: str


@dataclass(frozen=True)
class PlanList:
    """One of the three lists: decks told in full, then one line each."""

    key: str
    title: str
    words: str
    rows: tuple[PlanRow, ...]
    others: tuple[PlanRow, ...]

    @property
    def total(self) -> int:
        """How many decks stand in the list."""
        return len(self.rows) + len(self.others)


def plan_of(
    summaries: Sequence[DeckSummary], source: Source, pictures: Pictures, options: Options
) -> tuple[PlanList, ...]:
    """Return the three lists; those without a deck are left out."""
    lists = sorted_lists(summaries)
    shares = _shares({key: len(decks) for key, decks in lists.items()})
    made = []
    for key, decks in lists.items():
        rows = [
            plan_row(one, source, pictures, options, key, pictured=place < shares[key])
            for place, one in enumerate(decks)
        ]
        made.append(
            PlanList(key, TITLES[key], EXPLAINED[key], tuple(rows[: shares[key]]), tuple(rows[shares[key] :]))
        )
    return tuple(one for one in made if one.total)


def sorted_lists(summaries: Sequence[DeckSummary]) -> dict[str, list[DeckSummary]]:
    """Return the decks of each list: the first by danger, the second by what is not known."""
    lists: dict[str, list[DeckSummary]] = {DANGER: [], LOOK: [], REST: []}
    for one in summaries:
        lists[list_of(one)].append(one)
    lists[LOOK] = rank(lists[LOOK], LOOK)
    return lists


def list_of(summary: DeckSummary | Line) -> str:
    """Return which list a deck stands in."""
    if needs_work(advice_tier(summary)):
        return DANGER
    open_word = tier_rank(summary.tier_if_true) < tier_rank(summary.tier)
    if summary.gaps == "serious" or summary.tier is None or open_word or summary.unreviewed:
        return LOOK
    return REST


def look_key(one: DeckSummary | Line) -> tuple[Any, ...]:
    """Return the key that sorts decks to go and see: what it could come to with all that is unseen leads."""
    could_be = -float(getattr(one, "up_to", 0.0))
    return (could_be, tier_rank(one.tier_if_true), GAPS.index(one.gaps), -one.unreviewed, one.deck)


def _shares(counts: Mapping[str, int]) -> dict[str, int]:
    look = min(counts[LOOK], max(LEAST_LOOK, DETAILED - counts[DANGER]))
    danger = min(counts[DANGER], DETAILED - look)
    return {DANGER: danger, LOOK: look, REST: min(counts[REST], DETAILED - danger - look)}


def plan_row(
    summary: DeckSummary,
    source: Source,
    pictures: Pictures,
    options: Options,
    key: str,
    *,
    pictured: bool,
) -> PlanRow:
    """Return one deck as a row."""
    from triage.report.content import anchor

    record = source.record(summary.deck)
    lead = leading(summary)
    sha = lead.photos[0] if lead and lead.photos else ""
    tier = advice_tier(summary)
    return PlanRow(
        deck=clean(summary.deck),
        anchor=anchor(summary.deck),
        address=clean(record.private.get("address", "")) if options.show_address else "",
        shape=shape_key(tier),
        tier=tier_short(tier),
        height=height_words(summary.height_class),
        finding=finding_line(summary, lead),
        detail=_detail(summary, lead, source.element_of, key),
        picture=pictures.printed(sha, PLAN_MM, tuple(lead.boxes.get(sha, ())))
        if lead and sha and pictured
        else None,
        photo=photo_names([sha], record)[0] if sha else "",
        told=_told(tier, record),
        due=due_date(summary, record, source.firm),
        bring=bring_words(summary, lead, source.element_of, key),
    )


def leading(summary: DeckSummary) -> Concern | None:
    """Return the finding that leads: the worst that paper tells of, else the worst suggestion."""
    groups = finding_groups(summary)
    if groups:
        return next((one for _, one in groups[0] if one.photos), groups[0][0][1])
    possible = [one for one in summary.concerns if one.standing == "possible" and one.status != "repaired"]
    return min(possible, key=lambda one: TIERS.index(one.tier), default=None)


def finding_line(summary: DeckSummary, lead: Concern | None) -> str:
    """Return the leading finding in one line; that it is only suggested, where so."""
    person = summary.tier_by_person
    if person is not None and summary.shown_tier != summary.tier:
        return f"Set by a person: {clean(person.why)}"
    if lead is None:
        if summary.gaps != "none":
            return "Nothing found; see what was not seen."
        return "Nothing found." if summary.tier else "Nothing found, but not enough is known to say."
    return f"Suggested, not confirmed: {title_of(lead)}" if lead.standing == "possible" else title_of(lead)


def height_words(height_class: str) -> str:
    """Return the class of a deck's height, as it was assessed, in words."""
    return HEIGHTS.get(height_class, HEIGHTS[UNKNOWN])


def _detail(summary: DeckSummary, lead: Concern | None, element_of: Mapping[str, str], key: str) -> str:
    if key == LOOK and summary.look_reason:
        return without_keys(clean(summary.look_reason))
    parts = []
    if key != LOOK and lead is not None and lead.place:
        parts.append(f"At {clean(lead.place)}.")
    missing = parts_by_state(summary, element_of).get("not-seen", [])
    carrying = [one for one in missing if one in CARRYING] or missing
    if carrying:
        words = and_list(short_part(one).removeprefix("the ") for one in carrying[:4])
        more = f" and {len(missing) - len(carrying[:4])} more" if len(missing) > len(carrying[:4]) else ""
        parts.append(f"Not seen: {words}{more}.")
    if summary.unreviewed and key != DANGER:
        parts.append(f"{count_of(summary.unreviewed, 'answer')} about photos still missing.")
    return " ".join(parts)


def _told(tier: str | None, record: DeckRecord) -> str:
    if record.warnings:
        last = record.warnings[-1]
        return f"{clean(last.told)}, {minute_words(last.told_at)}"
    return "nobody yet" if tier == "stop-use" else ""


def bring_words(summary: DeckSummary, lead: Concern | None, element_of: Mapping[str, str], key: str) -> str:
    """Return what to bring and whom to phone for."""
    tier = advice_tier(summary)
    tools: list[str] = []
    if tier == "stop-use":
        tools.append("barrier tape and notice")
    if key == LOOK:
        wanted = [one.element for one in summary.coverage if one.seen in ("not-seen", "poorly")]
        wanted = [one for one in wanted if one in CARRYING] or wanted or list(CARRYING)
    else:
        wanted = [element_of_concern(lead, element_of)] if lead else []
    for element in wanted:
        tools += [one for one in BRING.get(element, "camera").split(", ") if one not in tools]
    words = f"Bring: {', '.join(tools[:4])}." if tools else ""
    calls = {one.call for group in finding_groups(summary) for _, one in group if one.tier == tier}
    called = [name for name in ("engineer", "contractor", "building official") if name in calls]
    return f"{words} Phone: {and_list(called)}.".strip() if called and key == DANGER else words


def lead_words(one: Mapping[str, Any]) -> str:
    """Return the leading finding of a summary as JSON, in one line; that it is only suggested, where so."""
    still = [concern for concern in one["concerns"] if concern["status"] != "repaired"]
    said = [concern for concern in still if concern["standing"] != "possible"]
    lead = min(said or still, key=lambda concern: TIERS.index(concern["tier"]), default=None)
    if lead is None:
        if one["gaps"] != "none":
            return "nothing found, but not everything was seen"
        return "nothing found" if one["tier"] else "nothing found, but not enough is known to say"
    words = without_keys(clean(lead["concluded"] or tag_words(lead["tag"] or lead["rule"])))
    return f"suggested, not confirmed: {words}" if lead["standing"] == "possible" else words
