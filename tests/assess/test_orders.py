"""The two orders: pairs that a practitioner would order, what the figures add up to, what moves nothing."""

import deck_builder as made
import pytest
from random_decks import BASE, SEEN

from triage.assess import assess_deck, load_rule_book, rank
from triage.assess.order import DANGER, LOOK, ORDERS, order_key
from triage.domain.vocabulary import load_vocabulary

VOCABULARY = load_vocabulary()
BOOK = load_rule_book(None, VOCABULARY)


def deck(name, height_ft, *tags, count=1, seen=True, guesses=(), **facts):
    """Return a deck of a height at which these tags were labeled, all else seen well and known."""
    photos, told = SEEN if seen else ([], [])
    shot = made.photo(f"{name}.jpg", deck=name)
    labels = [made.label(shot, tag, count=count) for tag in tags]
    labels += [made.label(shot, tag, "absent") for tag in made.CORE if tag not in tags and seen]
    known = {**BASE, "has_guard": True, "guard_height_in": 42.0, "guard_gap_in": 3.0, "guard_post_firm": True}
    known |= {"guard_post_notched": False, "post_height_ft": max(1.0, (height_ft or 9.0) - 1.5), **facts}
    if height_ft is not None:
        known["height_above_grade_ft"] = height_ft
    else:
        known.pop("height_above_grade_ft")
    suggestions = [made.guess(shot, tag, 0.9) for tag in guesses]
    return made.deck(name, photos=[*photos, shot], labels=[*told, *labels], guesses=suggestions, known=known)


def assessed(evidence):
    return assess_deck(evidence, BOOK, VOCABULARY)


# (first, second, why)
PAIRS = [
    (
        (22, "nail-only-ledger"),
        (3, "nail-only-ledger", "debris-at-flashing"),
        "leaves do not outweigh 19 ft of fall",
    ),
    ((14, "beam-rot"), (1, "guard-post-loose"), "a beam that fails drops the deck, a post at 1 ft a stumble"),
    ((25, "guard-missing"), (1, "missing-hanger", "missing-hanger"), "an open edge at 25 ft kills"),
    ((14, "nail-only-ledger"), (3, "nail-only-ledger"), "the same fault, and people fall further"),
    ((9, "nail-only-ledger"), (9, "rusted-connector"), "rust takes years, nails let go at once"),
    ((6, "nail-only-ledger"), (6, "debris-at-flashing"), "leaves are swept away"),
    ((9, "ledger-gap"), (9, "nail-only-ledger"), "it has begun to move"),
    ((4, "nail-only-ledger", "ledger-gap"), (4, "nail-only-ledger"), "nails that have begun to draw out"),
    ((9, "post-rot", "post-in-soil"), (9, "post-in-soil"), "rot at the foot against a risk of it"),
    ((9, "side-bolted-beam"), (9, "white-bloom"), "the whole beam on bolts against a stain"),
    ((9, "side-bolted-beam"), (2, "side-bolted-beam"), "the same fault, and people fall further"),
    ((9, "side-bolted-beam", "post-split"), (9, "side-bolted-beam"), "the split has begun below the bolts"),
    ((9, "guard-post-loose"), (1, "guard-post-loose"), "nobody is hurt over a guard at 1 ft"),
    ((9, "guard-missing"), (9, "guard-infill-loose"), "nothing there against one loose bar"),
    ((9, "band-rot"), (9, "band-stain"), "rot against a stain"),
    ((9, "band-rot"), (3, "band-rot"), "the same fault, and people fall further"),
    ((9, "joist-rot"), (9, "hanger-empty-holes"), "soft wood against missing nails"),
    ((9, "connector-lost-section"), (9, "light-rust"), "steel that is gone against a film of rust"),
    ((9, "stringer-pulling-away"), (9, "stringer-on-nails"), "it has begun to come off"),
    ((9, "post-leaning", "footing-undermined"), (9, "post-leaning"), "the foot is loose as well"),
    ((9, "beam-sagging"), (9, "beam-twisted"), "it bends under load against a twist from drying"),
    ((9, "ledger-rot"), (9, "ledger-split"), "rot runs on, a split has run"),
    ((9, "footing-undermined"), (9, "footing-missing"), "it has moved against never having been there"),
    ((9, "tread-loose"), (9, "handrail-missing"), "a step that gives way against nothing to hold"),
    ((9, "ledger-on-veneer"), (9, "ledger-over-siding"), "facing carries nothing, siding crushes slowly"),
    ((4, "ledger-on-veneer"), (1, "ledger-on-veneer"), "the same fault, and people fall further"),
    ((9, "missing-hanger"), (9, "hanger-empty-holes"), "nothing there against nails too few"),
    ((9, "beam-rot"), (9, "joist-rot"), "one beam carries all joists"),
    ((9, "post-rot"), (9, "insect-damage"), "rot through against galleries seen"),
    ((9, "free-standing", "bracing-missing"), (9, "bracing-missing"), "nothing else keeps it from racking"),
    ((14, "guard-post-nailed"), (3, "guard-post-nailed"), "the same fault, and people fall further"),
    (
        (9, "joists-without-ledger"),
        (9, "ledger-seam-open"),
        "each joist on its own nails against a damp joint",
    ),
    ((None, "nail-only-ledger"), (6, "nail-only-ledger"), "an unknown height counts as the worst"),
]


def _of(name, spec):
    height, *tags = spec
    facts = {}
    if "free-standing" in tags:
        tags = [tag for tag in tags if tag != "free-standing"]
        facts = {"attached": False}
    count = max((tags.count(tag) for tag in tags), default=1)
    return deck(name, height, *dict.fromkeys(tags), count=count, **facts)


@pytest.mark.parametrize(("first", "second", "why"), PAIRS, ids=[pair[2] for pair in PAIRS])
def test_pairs_that_any_practitioner_would_order(first, second, why):
    worse, better = assessed(_of("b-first", first)), assessed(_of("a-second", second))
    assert [one.deck for one in rank([better, worse])] == ["b-first", "a-second"], (
        order_key(worse),
        order_key(better),
    )


CHECKED = [
    ({"joist_span_ft": 22.0}, {"joist_span_ft": 15.0}, "a span far beyond its table before one just beyond"),
    ({"post_size": "4x4", "tributary_area_sqft": 160.0}, {"tributary_area_sqft": 160.0}, "a slim post"),
    (
        {"ledger_fastener_spacing_in": 60.0},
        {"ledger_fastener_spacing_in": 36.0},
        "bolts at twice their spacing before bolts a little apart",
    ),
    ({"extra_load": "hot-tub", "joist_span_ft": 18.0}, {"joist_span_ft": 18.0}, "a tub on the same frame"),
]


@pytest.mark.parametrize(("worse", "better", "why"), CHECKED, ids=[row[2] for row in CHECKED])
def test_pairs_by_measured_facts(worse, better, why):
    first, second = assessed(deck("b", 9.0, **worse)), assessed(deck("a", 9.0, **better))
    assert [one.deck for one in rank([second, first])] == ["b", "a"]


def test_rust_at_four_joists_does_not_come_before_one_nailed_ledger():
    rust, nails = deck("a", 9.0, "rusted-connector", count=4), deck("b", 9.0, "nail-only-ledger")
    assert [one.deck for one in rank([assessed(rust), assessed(nails)])] == ["b", "a"]


def test_a_deck_that_nobody_labeled_comes_first_to_look_at_and_not_first_to_close():
    confirmed = assessed(deck("a", 9.0, "nail-only-ledger"))
    unlabeled = assessed(deck("b", 9.0, seen=False, guesses=["nail-only-ledger", "missing-hanger"]))
    assert [one.deck for one in rank([confirmed, unlabeled], DANGER)] == ["a", "b"]
    assert [one.deck for one in rank([confirmed, unlabeled], LOOK)] == ["b", "a"]
    assert unlabeled.known < unlabeled.up_to
    assert confirmed.look_reason != unlabeled.look_reason


def test_height_and_what_is_known_go_together_over_decks_of_one_tier():
    """Rank correlation over decks that differ in height alone is 1; the sum of tiers made it -.07."""
    heights = [2.6, 5.0, 7.0, 12.0, 22.0]
    figures = [assessed(deck("d", height, "nail-only-ledger")).known for height in heights]
    assert figures == sorted(figures)
    assert figures[0] < figures[2] < figures[3]


def test_the_worst_at_a_joint_counts_once():
    one = assessed(deck("d", 9.0, "nail-only-ledger")).joints
    both = assessed(deck("d", 9.0, "nail-only-ledger", "ledger-over-siding")).joints
    known = {joint.joint: joint.known for joint in one}
    assert {joint.joint: joint.known for joint in both} == known


def test_a_crowd_doubles_what_is_known():
    alone = assessed(deck("d", 9.0, "beam-twisted"))
    crowd = assessed(deck("d", 9.0, "beam-twisted", extra_load="crowd"))
    assert crowd.known >= 2 * alone.known


def test_words_stand_in_the_list_and_figures_in_the_json():
    summary = assessed(deck("d", 9.0, "beam-rot"))
    assert not any(char.isdigit() for char in summary.reason.replace("(1 more", ""))
    row = summary.to_json()
    leading = max(row["joints"], key=lambda joint: joint["known"])
    assert (leading["joint"], leading["leading"]) == ("beam-and-posts", "beam-rot")
    assert set(leading) == {"joint", "words", "known", "up_to", "leading", "concluded", "unknown"}


def test_both_orders_are_whole():
    decks = [assessed(deck(f"d{n}", 1.0 + n, "beam-rot")) for n in range(5)]
    for order in ORDERS:
        assert rank(decks, order)[-1].height_class == "to-30-in"
        assert sorted(one.deck for one in rank(decks, order)) == [f"d{n}" for n in range(5)]
