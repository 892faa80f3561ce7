"""Laws that hold for any deck: checked on decks drawn at random over the shipped rule book."""

from dataclasses import replace

import deck_builder as made
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from triage.assess import assess_deck, load_rule_book
from triage.assess.order import order_key, place_in_order
from triage.domain.tiers import TIERS, tier_rank
from triage.domain.vocabulary import load_vocabulary
from triage.library.records import Finding, PersonTier

VOCABULARY = load_vocabulary()
BOOK = load_rule_book(None, VOCABULARY)
SHOTS = [made.photo(f"{n}.jpg", burst=1 if n in (1, 2) else None) for n in range(6)]
SOME = settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow])

defects = st.sampled_from(VOCABULARY.defects)
shown = st.sampled_from([f"shows-{element}" for element in VOCABULARY.elements])
shot = st.sampled_from(SHOTS)
places = st.sampled_from([None, "left end", "middle", "right end", "joist 3 of 9"])
value = st.sampled_from(["present", "absent", "unclear"])
facts = st.fixed_dictionaries(
    {},
    optional={
        "height_above_grade_ft": st.sampled_from([1.0, 2.5, 2.51, 9.0]),
        "attached": st.booleans(),
        "has_beam": st.booleans(),
        "house_side_support": st.sampled_from(["ledger", "own-beam"]),
        "exposure": st.sampled_from(["dry", "wet", "coastal"]),
        "extra_load": st.sampled_from(["none", "crowd", "hot-tub"]),
        "ledger_fastener": st.sampled_from(["nail", "half-inch-bolt", "unknown"]),
        "joist_bearing": st.sampled_from(["hanger", "on-beam"]),
        "band_probe_depth_in": st.sampled_from([0.0, 0.3, 0.8]),
        "guard_post_firm": st.booleans(),
        "ledger_length_ft": st.sampled_from([5.0, 14.0]),
        "post_size": st.sampled_from(["4x4", "6x6"]),
    },
)


@st.composite
def labels(draw, tags=defects, values=value):
    return made.label(
        draw(shot),
        draw(tags),
        draw(values),
        by=draw(st.sampled_from(["Ann", "Ben"])),
        place=draw(places),
        count=draw(st.sampled_from([None, 1, 2, 5])),
    )


@st.composite
def guesses(draw):
    probability = draw(st.sampled_from([0.02, 0.3, 0.5, 0.8, 0.97]))
    pile = "likely" if probability >= 0.5 else draw(st.sampled_from(["unsure", "unlikely"]))
    return made.guess(draw(shot), draw(defects), probability, pile)


@st.composite
def decks(draw):
    given_labels = draw(st.lists(labels(), max_size=8)) + draw(st.lists(labels(shown), max_size=6))
    seen, told = made.seen_photos(LOW) if draw(st.booleans()) else ([], [])
    return made.deck(
        photos=[*SHOTS[: draw(st.integers(0, 6))], *seen],
        labels=_latest(given_labels) + told,
        guesses=draw(st.lists(guesses(), max_size=6)),
        known=draw(facts),
        promise=dict.fromkeys(made.CORE, draw(st.sampled_from(["holds", "too-few"]))),
        findings=(Finding("f", "d", None, "watch", "Moss.", "Ann", made.AT),) if draw(st.booleans()) else (),
    )


LOW = {"height_above_grade_ft": 2.0}


def _latest(given_labels):
    return list({(one.photo, one.tag, one.by): one for one in given_labels}.values())


def _all_labels(evidence):
    return [label for word in evidence.words.values() for label in word.labels]


def assess(evidence):
    return assess_deck(evidence, BOOK, VOCABULARY)


@SOME
@given(decks(), labels(values=st.just("present")))
def test_adding_a_confirmed_defect_never_improves_a_deck(evidence, label):
    """A new person says 'present': neither tier gets milder, the deck never moves down."""
    shots = [one for one in evidence.photos if one.sha == label.photo]
    if not shots:
        return
    new = replace(label, by="Cleo", at="2026-07-01T00:00:00+00:00")
    before = assess(evidence)
    after = assess(replace(evidence, words=made.put_together([*_all_labels(evidence), new])))
    assert order_key(after) <= order_key(before)
    assert order_key(after, "look") <= order_key(before, "look")
    assert tier_rank(after.tier) <= tier_rank(before.tier)
    assert tier_rank(after.tier_if_true) <= tier_rank(before.tier_if_true)
    assert after.known >= before.known
    assert after.up_to >= before.up_to


@SOME
@given(decks(), guesses())
def test_a_guess_alone_never_sets_or_raises_the_printed_tier(evidence, guess):
    bare = assess(replace(evidence, suggestions={}))
    printed = assess(evidence)
    more = assess(replace(evidence, suggestions={**evidence.suggestions, (guess.photo, guess.tag): guess}))
    for summary in (printed, more):
        if bare.tier in (None, "nothing-seen"):
            assert summary.tier in (None, "nothing-seen")
        else:
            assert summary.tier == bare.tier
        assert all(one.standing == "possible" or one.rule in _rules(bare) for one in summary.concerns)


def _rules(summary):
    return {concern.rule for concern in summary.concerns} | summary.held


@SOME
@given(decks())
def test_nothing_seen_needs_no_gaps_nothing_unreviewed_and_no_concern(evidence):
    summary = assess(evidence)
    for tier in (summary.tier, summary.tier_if_true):
        if tier == "nothing-seen":
            assert (summary.gaps, summary.unreviewed, summary.concerns) == ("none", 0, ())
    if summary.tier is None:
        assert summary.gaps != "none" or summary.unreviewed or summary.concerns or summary.unsaid.bars


@SOME
@given(decks(), st.sampled_from(TIERS))
def test_a_persons_tier_is_always_shown_beside_and_changes_no_computed_one(evidence, tier):
    person = PersonTier("d", tier, "Because.", "Ann", made.AT)
    without, beside = assess(evidence), assess(replace(evidence, person_tier=person))
    assert beside.tier_by_person == person
    assert (beside.tier, beside.tier_if_true) == (without.tier, without.tier_if_true)
    assert beside.to_json()["tier_by_person"] == tier
    assert place_in_order(beside) <= place_in_order(without)


@SOME
@given(decks())
def test_tier_if_true_is_never_milder_than_the_printed_tier(evidence):
    summary = assess(evidence)
    if summary.tier in TIERS[:4]:
        assert tier_rank(summary.tier_if_true) <= tier_rank(summary.tier)


@SOME
@given(decks(), st.integers(0, 5))
def test_a_photo_more_that_nobody_looked_at_never_makes_nothing_seen(evidence, number):
    new = made.photo(f"new-{number}.jpg")
    assert assess(replace(evidence, photos=(*evidence.photos, new))).tier != "nothing-seen"


@SOME
@given(decks(), st.randoms())
def test_the_order_of_photos_and_labels_changes_nothing(evidence, random):
    photos, words = list(evidence.photos), list(evidence.words.items())
    random.shuffle(photos)
    random.shuffle(words)
    other = replace(evidence, photos=tuple(photos), words=dict(words))
    one, two = assess(evidence).to_json(), assess(other).to_json()
    for row in (one, two):
        for seen in row["coverage"]:
            seen["photos"] = sorted(seen["photos"])
    assert one == two


@SOME
@given(decks())
def test_the_joints_add_up_and_departures_stay_at_watch(evidence):
    summary = assess(evidence)
    row = summary.to_json()
    assert row["known"] == sum(joint["known"] for joint in row["joints"])
    assert row["up_to"] == sum(joint["up_to"] for joint in row["joints"])
    assert all(0 <= joint["known"] <= joint["up_to"] for joint in row["joints"])
    for concern in summary.concerns:
        assert concern.kind != "departs-from-today" or concern.tier == "watch"
        assert concern.standing == "possible" or concern.chance is None
