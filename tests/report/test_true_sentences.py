"""What stands in a report is what the assessment says: read back from the page by a small reader."""

from __future__ import annotations

import html
import re
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from report_made import busy_deck, concern, made, photo, summary

from triage.assess.records import DeckSummary, Seen
from triage.domain.tiers import GAPS, KINDS, STANDINGS, TIER_WORDS, TIERS
from triage.library.records import PersonTier
from triage.report.owner import finding_groups, not_seen, title_of
from triage.report.phrases import AT_FINDING, SEEN_WORDS, tier_short
from triage.report.source import DeckRecord, Options
from triage.report.write import make_pack

OWNER = ('<section class="deck owner"', "</section>")
STATUSES = ("new", "still-there", "not-looked-at-again", "repaired")
words = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=12)
concerns = st.builds(
    concern,
    rule=st.sampled_from(["r-a", "r-b", "r-c"]),
    tier=st.sampled_from(TIERS[:-1]),
    standing=st.sampled_from(STANDINGS),
    status=st.sampled_from(STATUSES),
    kind=st.sampled_from(KINDS),
    concluded=words,
    place=st.one_of(st.none(), words),
    count=st.one_of(st.none(), st.integers(0, 400)),
)
decks = st.builds(
    summary,
    words,
    st.lists(concerns, max_size=5),
    tier=st.sampled_from([*TIERS, None]),
    gaps=st.sampled_from(GAPS),
    unreviewed=st.integers(0, 900),
    reason=words,
    coverage=st.lists(
        st.builds(
            Seen,
            st.sampled_from(["ledger", "beam", "post"]),
            st.sampled_from(sorted(SEEN_WORDS)),
            st.just(()),
            st.none(),
            st.none(),
            words,
        ),
        max_size=3,
        unique_by=lambda one: one.element,
    ).map(tuple),
)


def whole(one: Any) -> DeckSummary:
    """Return a drawn summary with its concerns as the constructor takes them."""
    given_concerns = tuple(one.concerns[0]) if one.concerns else ()
    return replace(one, concerns=given_concerns, tier_if_true=one.tier)


def page_of(one: DeckSummary) -> str:
    pair = made((one, DeckRecord()))
    return make_pack(pair.summaries, pair.source, Options(full=True, show_names=True))["report.html"].decode()


def plain(markup: str) -> str:
    return html.unescape(re.sub(r"<[^>]*>", " ", re.sub(r"<svg.*?</svg>", "", markup, flags=re.S)))


def section(page: str, start: str, *ends: str) -> str:
    if start not in page:
        return ""
    after = page[page.index(start) :]
    stops = [after.index(end) for end in ends if end in after]
    return after[: min(stops)] if stops else after


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(decks)
def test_every_concern_stands_once_in_its_own_part_with_its_own_words(drawn: Any) -> None:
    one = whole(drawn)
    page = page_of(one)
    parts = {
        "open": section(
            page,
            "<h3>Concerns",
            "<h3>Possible",
            "<h3>Repaired and",
            "<h3>Photos",
            "<h3>Repair list",
            "<h3>What was",
        ),
        "possible": section(
            page, "<h3>Possible", "<h3>Repaired and", "<h3>Photos", "<h3>Repair list", "<h3>What was"
        ),
        "repaired": section(page, "<h3>Repaired and", "<h3>Repair list", "<h3>What was"),
    }
    counts = {name: part.count('data-k="case ') for name, part in parts.items()}
    repaired = [each for each in one.concerns if each.status == "repaired"]
    possible = [each for each in one.concerns if each.standing == "possible" and each not in repaired]
    assert counts["repaired"] == len(repaired)
    assert counts["possible"] == len(possible)
    assert sum(counts.values()) == len(one.concerns)
    for each in one.concerns:
        name = "repaired" if each in repaired else "possible" if each in possible else "open"
        part = plain(parts[name])
        assert each.concluded in part
        assert TIER_WORDS[each.tier] in part
        if each.place is not None:
            assert each.place in part


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(decks)
def test_the_two_pages_print_the_tier_of_persons_and_never_that_of_a_guess(drawn: Any) -> None:
    one = whole(drawn)
    guess = concern(standing="possible", tier="stop-use", concluded="x")
    guessed = replace(one, tier="watch", tier_if_true="stop-use", concerns=(guess,), reason="r")
    first = plain(section(page_of(guessed), *OWNER))
    assert "stop use" not in first
    assert "watch" in first
    first = " ".join(plain(section(page_of(one), *OWNER)).split())
    assert tier_short(one.tier) in first
    for group in finding_groups(one)[:3]:
        assert title_of(group[0][1]) in first
    if not finding_groups(one):
        assert "That does not say that there is nothing." in first
    for seen in one.coverage:
        assert seen.seen == "well" or seen.element in first
    if one.gaps != "none":
        assert "No photo shows:" in first or any(
            words in first
            for words in ("enough to judge", "without opening", "There is no photo of this deck.")
        )


@pytest.mark.parametrize(
    ("standing", "status", "photos", "shown"),
    [
        ("seen-by-person", "open", ("a" * 64,), True),
        ("seen-by-person", "open", (), False),
        ("possible", "open", ("a" * 64,), False),
        ("seen-by-person", "repaired", ("a" * 64,), False),
    ],
)
def test_no_photo_is_said_of_no_part_that_a_printed_finding_shows(
    standing: str, status: str, photos: tuple[str, ...], shown: bool
) -> None:
    """Nobody marked the photo as one of the hanger; the finding printed above shows it all the same."""
    found = concern(element="hanger", standing=standing, status=status, photos=photos)
    unseen = tuple(Seen(part, "not-seen", (), 0, None, "no photo shows it") for part in ("hanger", "beam"))
    lines = not_seen(summary("d", found, gaps="serious", coverage=unseen), 5, {})
    if shown:
        assert lines == (
            "No photo shows: the beam.",
            "Shown only where something was found, not well enough to judge the rest: the joist hangers.",
        )
    else:
        assert lines == ("No photo shows: the joist hangers and the beam.",)


@pytest.mark.parametrize("photos", [("a" * 64,), ()])
def test_every_page_says_the_same_of_a_part_that_only_a_finding_shows(photos: tuple[str, ...]) -> None:
    """Gaps, table, sketch and the owner's pages say 'not seen' only where no finding shows the part."""
    found = concern(element="ledger", standing="seen-by-person", photos=photos)
    unseen = tuple(Seen(part, "not-seen", (), 0, None, "no photo shows it") for part in ("ledger", "post"))
    page = page_of(summary("d", found, gaps="serious", coverage=unseen))
    table = plain(section(page, 'data-k="coverage"', "</table>"))
    gaps = "ledger seen only where something was found" if photos else "ledger and post not seen"
    assert gaps in plain(page)
    assert ("ledger: only at the finding" in page) == bool(photos)
    assert ("ledger: not seen" in page) == (not photos)
    assert ("seen only where something was found" in table) == bool(photos)
    assert "post: not seen" in page
    assert ("No photo shows: the ledger" in plain(page)) == (not photos)


@pytest.mark.parametrize("state", sorted(set(SEEN_WORDS) - {AT_FINDING}))
def test_coverage_is_said_as_it_is(state: str) -> None:
    seen = Seen("ledger", state, (), 1, 3, "why")
    part = plain(section(page_of(summary("d", coverage=(seen,))), 'data-k="coverage"', "</table>"))
    wanted = {"well": "seen well", "poorly": "seen poorly", "not-seen": "not seen", "concealed": "concealed"}[
        state
    ]
    assert wanted in part
    assert "1 of 3" in part


def test_a_persons_tier_stands_beside_the_computed_one() -> None:
    said = PersonTier("d", "watch", "The post is new.", "Ada Sample", "2026-05-04T08:00:00+00:00")
    page = page_of(summary("d", tier="stop-use", tier_if_true="stop-use", tier_by_person=said))
    text = " ".join(plain(section(page, *OWNER)).split())
    assert "stop use Stop using this deck today." in text
    assert "set this deck to 'watch': The post is new. From the findings alone it is 'stop use'." in text
    text = " ".join(plain(section(page, '<section class="deck record"', "<h3>")).split())
    assert "stop use: stay off it" in text
    assert "watch (set by Ada Sample: The post is new.)" in text


def test_what_is_open_is_said_without_claiming_a_persons_answer() -> None:
    record = DeckRecord(photos=(photo("d", "x.jpg"),))
    for number, photos, said in (
        (0, record, "or the machine's 'unlikely' stands under a promise"),
        (1, record, "1 question (a photo and a core tag) not yet answered"),
        (0, DeckRecord(), "There is no photo of this deck."),
    ):
        pair = made((summary("d", unreviewed=number), photos))
        page = make_pack(pair.summaries, pair.source, Options(full=True, show_names=True))[
            "report.html"
        ].decode()
        assert said in " ".join(plain(page).split())


def test_a_stop_use_that_nobody_was_told_of_says_so() -> None:
    page = page_of(summary("d", tier="stop-use", tier_if_true="stop-use"))
    assert "There is no record that anybody was told to stop using this deck." in page
    assert "no record that anybody" not in page_of(summary("d", tier="watch", tier_if_true="watch"))
    told = made(busy_deck())
    assert (
        "no record that anybody"
        not in make_pack(told.summaries, told.source, Options(full=True))["report.html"].decode()
    )


def test_who_said_what_is_in_the_order_of_time() -> None:
    pair = made(busy_deck())
    page = make_pack(pair.summaries, pair.source, Options(full=True, show_names=True))["report.html"].decode()
    part = section(page, 'data-k="who said what"', "</table>")
    times = re.findall(r"<td>(2026-[^<]{10,40})</td>", part)
    assert times == sorted(times)
    assert len(times) >= 5
    text = " ".join(plain(part).split())
    assert "missing hanger: present" in text
    assert "Ben Sample" in text


def test_what_was_said_without_a_photo_is_not_called_seen_in_one() -> None:
    said = page_of(summary("d", concern(photos=()), tier="watch", tier_if_true="watch"))
    assert "said by a person as a fact or a finding, without a photo" in said
    assert "seen by a person in a photo" not in said
    seen = page_of(summary("d", concern(photos=("a" * 64,)), tier="watch", tier_if_true="watch"))
    assert "seen by a person in a photo" in seen
