"""Tiers, standings, what bars `nothing-seen`, and what the summary prints."""

import json
from dataclasses import replace

import deck_builder as made
import pytest
from law_predicates import COMPLETE

from triage.assess import assess_deck, rank
from triage.domain.tiers import CAUTION
from triage.library.records import Fact, Finding, PersonTier

LOW = {
    "attached": True,
    "has_beam": True,
    "has_stairs": False,
    "height_above_grade_ft": 2.0,
    "deck_width_ft": 12.0,
}


@pytest.fixture
def assess(book, vocabulary):
    return lambda evidence, **more: assess_deck(evidence, book, vocabulary, **more)


def seen_deck(*labels, photos=(), guesses=(), known=LOW, **more):
    shots, told = made.seen_photos(known)
    return made.deck(
        photos=[*shots, *photos], labels=[*told, *labels], guesses=list(guesses), known=known, **more
    )


X = made.photo("x.jpg")
Y = made.photo("y.jpg")
ABSENT = [made.label(X, tag, "absent") for tag in made.CORE]


def answered(tag, *more):
    return [made.label(X, tag), *(one for one in ABSENT if one.tag != tag), *more]


def by_rule(summary):
    return {concern.rule: concern for concern in summary.concerns}


def test_everything_seen_and_answered_and_nothing_found(assess):
    """Photos alone never come to that: it needs every fact that could turn out bad as well."""
    summary = assess(seen_deck(known={**COMPLETE, "deck_width_ft": 12.0}))
    assert (summary.tier, summary.tier_if_true, summary.gaps, summary.unreviewed) == (
        "nothing-seen",
        "nothing-seen",
        "none",
        0,
    )
    assert summary.reason.startswith("In what was photographed")
    by_photos = assess(seen_deck())
    assert (by_photos.tier, by_photos.gaps, by_photos.unreviewed) == (None, "none", 0)
    assert "checks that could not be made: ledger-spacing-table" in by_photos.reason
    assert "joist-span" in by_photos.to_json()["unsaid_checks"]
    assert "extra_load" in by_photos.to_json()["unknown_facts"]


def test_an_unanswered_photo_bars_nothing_seen(assess):
    summary = assess(seen_deck(photos=[X]))
    assert (summary.tier, summary.tier_if_true, summary.unreviewed) == (None, None, len(made.CORE))
    assert summary.reason.startswith("Not enough seen or reviewed to say: 5 answers are missing;")


def test_cannot_tell_is_an_answer_and_leaves_a_gap(assess):
    labels = [
        *(one for one in ABSENT if one.tag != "missing-hanger"),
        made.label(X, "missing-hanger", "unclear"),
    ]
    summary = assess(seen_deck(*labels, photos=[X]))
    assert (summary.unreviewed, summary.tier, summary.gaps) == (0, None, "some")
    hanger = next(one for one in summary.coverage if one.element == "hanger")
    assert hanger.seen == "poorly"
    assert "'cannot tell' was the answer on 1 photo (missing-hanger)" in hanger.why
    assert any("'cannot tell'" in ask for ask in summary.go_back_for)


def test_cannot_tell_on_a_photo_that_does_not_show_the_part_leaves_no_gap(assess):
    labels = [
        *(one for one in ABSENT if one.tag != "missing-hanger"),
        made.label(X, "missing-hanger", "unclear"),
        made.label(X, "shows-hanger", "absent"),
    ]
    assert assess(seen_deck(*labels, photos=[X])).gaps == "none"


def test_cannot_tell_about_a_part_with_no_coverage_of_its_own_leaves_a_gap_too(assess):
    labels = [
        *(one for one in ABSENT if one.tag != "rusted-connector"),
        made.label(X, "rusted-connector", "unclear"),
    ]
    summary = assess(seen_deck(*labels, photos=[X]))
    assert (summary.tier, summary.gaps) == (None, "some")
    assert summary.coverage[-1].element == "connector"


def test_unlikely_counts_as_reviewed_only_under_a_promise_that_holds(assess):
    labels = [one for one in ABSENT if one.tag != "missing-hanger"]
    unlikely = made.guess(X, "missing-hanger", 0.01, "unlikely")
    for promise, unreviewed in (
        ({"missing-hanger": "holds"}, 0),
        ({"missing-hanger": "withdrawn"}, 1),
        ({}, 1),
    ):
        evidence = seen_deck(*labels, photos=[X], guesses=[unlikely], promise=promise)
        assert assess(evidence).unreviewed == unreviewed
    unsure = made.guess(X, "missing-hanger", 0.3, "unsure")
    summary = assess(seen_deck(*labels, photos=[X], guesses=[unsure], promise={"missing-hanger": "holds"}))
    assert (summary.unreviewed, summary.tier, summary.concerns) == (1, None, ())


def test_gaps_bar_nothing_seen(assess):
    evidence = seen_deck()
    words = {key: word for key, word in evidence.words.items() if key[1] != "shows-whole-deck"}
    summary = assess(replace(evidence, words=words))
    assert (summary.gaps, summary.tier) == ("some", None)


def test_a_label_is_seen_by_a_person_and_sets_both_tiers(assess):
    summary = assess(seen_deck(*answered("missing-hanger"), photos=[X]))
    concern = by_rule(summary)["missing-hanger"]
    assert (concern.standing, concern.status, concern.tier) == ("seen-by-person", "new", "repair-this-season")
    assert (summary.tier, summary.tier_if_true) == ("repair-this-season", "repair-this-season")
    assert concern.photos == (X.sha,)


def test_a_guess_sets_only_the_tier_if_true(assess):
    summary = assess(seen_deck(photos=[X], guesses=[made.guess(X, "nail-only-ledger", 0.97)]))
    concern = by_rule(summary)["nail-only-ledger-low"]
    assert (concern.standing, summary.tier, summary.tier_if_true) == ("possible", None, "repair-this-season")
    assert concern.chance == pytest.approx(0.97)
    assert "nobody has confirmed it" in summary.reason


def test_an_absent_answers_that_photo_and_no_other(assess):
    guesses = [made.guess(X, "missing-hanger", 0.9), made.guess(Y, "missing-hanger", 0.6)]
    summary = assess(seen_deck(*ABSENT, photos=[X, Y], guesses=guesses))
    concern = by_rule(summary)["missing-hanger"]
    assert (concern.photos, concern.chance) == ((Y.sha,), pytest.approx(0.6))


def test_a_dispute_counts_as_the_worse(assess):
    labels = [*answered("missing-hanger"), made.label(X, "missing-hanger", "absent", by="Ben")]
    summary = assess(seen_deck(*labels, photos=[X]))
    assert by_rule(summary)["missing-hanger"].standing == "disputed"
    assert summary.tier == "repair-this-season"


def test_nails_here_and_bolts_there_is_no_dispute(assess):
    labels = [*answered("nail-only-ledger"), *(replace(one, photo=Y.sha) for one in ABSENT)]
    concern = by_rule(assess(seen_deck(*labels, photos=[X, Y])))["nail-only-ledger-low"]
    assert (concern.standing, concern.photos[0]) == ("seen-by-person", X.sha)


def test_a_measured_fact_is_verified_on_site_and_a_known_one_is_a_persons_word(assess):
    rules = by_rule(assess(seen_deck(known={**LOW, "band_probe_depth_in": 0.3, "ledger_on": "veneer"})))
    assert rules["band-probe"].standing == "verified-on-site"
    assert rules["ledger-on-veneer"].standing == "seen-by-person"


def test_a_check_is_calculated_and_brings_its_numbers(assess):
    known = {
        **LOW,
        "joist_size": "2x8",
        "joist_spacing_in": 16,
        "species": "southern-pine",
        "joist_span_ft": 15,
    }
    concern = by_rule(assess(seen_deck(known=known)))["joist-span-far-over"]
    assert concern.standing == "calculated"
    assert "joist-span: 15 ft against" in concern.why


@pytest.mark.parametrize(
    ("facts", "rule", "kind", "tier"),
    [
        (
            {"joist_size": "2x8", "joist_spacing_in": 16, "species": "southern-pine", "joist_span_ft": 12},
            "joist-span-over",
            "hazard",
            "watch",
        ),
        ({"joist_span_ft": 8, "joist_overhang_ft": 2.2}, "joist-overhang-over", "hazard", "watch"),
        (
            {"joist_span_ft": 8, "joist_overhang_ft": 3},
            "joist-overhang-over",
            "hazard",
            "repair-this-season",
        ),
        (
            {
                "ledger_fastener": "half-inch-lag",
                "ledger_on": "band-joist",
                "joist_span_ft": 10,
                "ledger_fastener_spacing_in": 24,
                "ledger_sheathing_in": 0.5,
            },
            "ledger-spacing-over",
            "hazard",
            "repair-this-season",
        ),
        (
            {
                "ledger_fastener": "half-inch-lag",
                "ledger_on": "band-joist",
                "joist_span_ft": 10,
                "ledger_fastener_spacing_in": 30,
                "ledger_sheathing_in": 0.5,
                "height_above_grade_ft": 4.0,
            },
            "ledger-spacing-far-over",
            "hazard",
            "repair-before-use",
        ),
        (
            {
                "ledger_fastener": "half-inch-bolt",
                "ledger_on": "band-joist",
                "ledger_edge_in": 1,
                "ledger_end_in": 3,
                "ledger_row_spacing_in": 3,
            },
            "ledger-placement-over",
            "hazard",
            "repair-this-season",
        ),
        ({"beam_bearing": "side-bolted"}, "side-bolted-beam-low", "hazard", "repair-this-season"),
        ({"hold_down_count": 0}, "hold-down-missing", "departs-from-today", "watch"),
        (
            {"guard_height_in": 34, "height_above_grade_ft": 4},
            "guard-height-departs",
            "departs-from-today",
            "watch",
        ),
        (
            {"guard_gap_in": 5, "height_above_grade_ft": 4},
            "guard-opening-departs",
            "departs-from-today",
            "watch",
        ),
        (
            {"guard_post_firm": False, "height_above_grade_ft": 4},
            "guard-post-loose",
            "hazard",
            "repair-before-use",
        ),
        ({"has_stairs": True, "stair_rise_in": 8}, "stair-rise-departs", "departs-from-today", "watch"),
        ({"has_stairs": True, "stair_run_in": 9}, "stair-run-departs", "departs-from-today", "watch"),
        (
            {"has_stairs": True, "stringer_attachment": "nails"},
            "stringer-on-nails",
            "hazard",
            "repair-this-season",
        ),
        ({"joist_end_bearing_in": 1}, "joist-off-seat", "hazard", "repair-this-season"),
        (
            {
                "footing_shape": "square",
                "footing_width_in": 12,
                "footing_thickness_in": 6,
                "tributary_area_sqft": 100,
            },
            "footing-size-over",
            "departs-from-today",
            "watch",
        ),
        (
            {
                "extra_load": "hot-tub",
                "joist_span_ft": 15,
                "joist_size": "2x8",
                "joist_spacing_in": 16,
                "species": "southern-pine",
            },
            "extra-load-hot-tub-over",
            "hazard",
            "stop-use",
        ),
        (
            {"joist_size": "2x14", "joist_spacing_in": 16, "species": "southern-pine", "joist_span_ft": 17},
            "joist-outside-tables",
            "hazard",
            "watch",
        ),
    ],
)
def test_the_real_checks_reach_their_rules(assess, facts, rule, kind, tier):
    concern = by_rule(assess(made.deck(known={**LOW, **facts})))[rule]
    assert (concern.kind, concern.tier) == (kind, tier)
    assert concern.kind != "departs-from-today" or "when built" in concern.why


def test_no_check_that_is_over_goes_without_a_concern(assess, book, vocabulary):
    from triage.structure import CHECK_IDS, Check

    for name in CHECK_IDS:
        check = Check(name, "hazard", 2.0, 1.0, 2.0, "ft", "over", (), "made by hand", "made by hand")
        assert assess(made.deck(), checks=[check]).concerns, name


def test_a_check_that_only_departs_from_today_is_held_to_watch(assess):
    from triage.structure import Check

    over = Check(
        "guard-post", "departs-from-today", None, None, None, "", "over", (), "notched", "made by hand"
    )
    concern = by_rule(assess(made.deck(), checks=[over]))["guard-post-check"]
    assert (concern.kind, concern.tier) == ("departs-from-today", "watch")
    assert concern.why.endswith("(guard-post: over, notched.)")
    assert "May have been allowed when built." in concern.why


def test_one_concern_per_place_with_its_count(assess):
    labels = [
        made.label(X, "missing-hanger", place="joist 4 of 14"),
        made.label(Y, "missing-hanger", place="joist 9 of 14", count=2),
    ]
    found = [
        one for one in assess(made.deck(photos=[X, Y], labels=labels)).concerns if one.tag == "missing-hanger"
    ]
    assert {(one.rule, one.place, one.count) for one in found} == {
        ("missing-hanger-run", "joist 4 of 14", 1),
        ("missing-hanger-run", "joist 9 of 14", 2),
    }


def test_photos_without_a_place_may_each_show_another_joist_but_not_those_of_one_burst(assess):
    labels = [made.label(X, "missing-hanger"), made.label(Y, "missing-hanger")]
    rules = by_rule(assess(made.deck(photos=[X, Y], labels=labels)))
    assert rules["missing-hanger-run"].count == 1  # what is printed is how many are sure
    burst = [made.photo("a.jpg", burst=7), made.photo("b.jpg", burst=7)]
    labels = [made.label(shot, "missing-hanger") for shot in burst]
    assert "missing-hanger-run" not in by_rule(assess(made.deck(photos=burst, labels=labels)))


def test_boxes_count_and_travel_with_the_concern(assess):
    boxes = ((0.1, 0.1, 0.2, 0.2), (0.6, 0.1, 0.2, 0.2))
    summary = assess(made.deck(photos=[X], labels=[made.label(X, "missing-hanger", boxes=boxes)]))
    concern = by_rule(summary)["missing-hanger-run"]
    assert (concern.count, concern.boxes) == (2, {X.sha: boxes})


def test_best_evidence_comes_first(assess):
    blurred, boxed, plain = made.photo("a.jpg", blurred=True), made.photo("c.jpg"), made.photo("b.jpg")
    labels = [
        made.label(blurred, "ledger-gap"),
        made.label(plain, "ledger-gap"),
        made.label(boxed, "ledger-gap", boxes=((0.1, 0.1, 0.1, 0.1),)),
    ]
    concern = by_rule(assess(made.deck(photos=[blurred, boxed, plain], labels=labels)))["ledger-gap"]
    assert concern.photos == (boxed.sha, plain.sha, blurred.sha)


def test_together_is_worse_and_says_so(assess):
    alone = assess(seen_deck(*answered("nail-only-ledger"), photos=[X]))
    both = assess(seen_deck(*answered("nail-only-ledger", made.label(X, "ledger-gap")), photos=[X]))
    assert (alone.tier, both.tier) == ("repair-this-season", "stop-use")
    combined = by_rule(both)["nail-only-ledger-gap"]
    assert "worse together" in combined.concluded
    assert {"nail-only-ledger-low", "ledger-gap"} <= set(combined.raises) & set(by_rule(both))


def test_a_rule_that_replaces_speaks_for_the_milder_one(assess):
    known = {**LOW, "exposure": "coastal"}
    rules = by_rule(assess(seen_deck(*answered("rusted-connector"), photos=[X], known=known)))
    assert "rusted-connector-coastal" in rules
    assert "rusted-connector" not in rules


def test_a_guessed_rule_does_not_silence_what_a_person_saw(assess):
    labels = [made.label(X, "missing-hanger", place="joist 1")]
    guesses = [made.guess(Y, "missing-hanger", 0.9)]
    rules = by_rule(assess(made.deck(photos=[X, Y], labels=labels, guesses=guesses)))
    assert rules["missing-hanger"].standing == "seen-by-person"
    assert rules["missing-hanger-run"].standing == "possible"


def test_findings_are_concerns_with_their_own_tier(assess):
    seen = Finding("f1", "d", None, "repair-before-use", "The deck bounces.", "Ann", made.AT)
    probed = replace(seen, id="f2", how="probed", text="The probe sinks in.", tier="stop-use", place="post 2")
    summary = assess(seen_deck(findings=(seen, probed)))
    rules = by_rule(summary)
    assert summary.tier == "stop-use"
    assert rules["finding-f1"].standing == "seen-by-person"
    assert (rules["finding-f2"].standing, rules["finding-f2"].place) == ("verified-on-site", "post 2")


def test_a_persons_tier_stands_beside_the_computed_one(assess):
    milder = PersonTier("d", "watch", "It is propped.", "Ann", made.AT)
    summary = assess(seen_deck(*answered("missing-hanger"), photos=[X], person_tier=milder))
    assert (summary.tier, summary.tier_by_person) == ("repair-this-season", milder)
    row = summary.to_json()
    assert (row["tier"], row["tier_by_person"], row["tier_by_person_why"]) == (
        "repair-this-season",
        "watch",
        "It is propped.",
    )


KEYS = {
    "deck",
    "visit",
    "tier",
    "tier_if_true",
    "tier_by_person",
    "gaps",
    "concerns",
    "coverage",
    "go_back_for",
    "unreviewed",
}
CONCERN_KEYS = {
    "rule",
    "tag",
    "kind",
    "standing",
    "status",
    "tier",
    "photos",
    "place",
    "count",
    "why",
    "repair",
    "verify_on_site",
    "call",
    "source",
}


def test_json_has_the_promised_keys_and_no_nan(assess):
    row = assess(seen_deck(*answered("missing-hanger"), photos=[X])).to_json()
    assert set(row) >= KEYS
    assert set(row["concerns"][0]) >= CONCERN_KEYS
    assert set(row["coverage"][0]) == {"element", "seen", "photos", "count", "of", "why"}
    assert json.loads(json.dumps(row, allow_nan=False)) == row
    assert row["caution"] == CAUTION


def test_the_joints_add_up(assess):
    summary = assess(made.deck(photos=[X], labels=answered("missing-hanger")))
    row = summary.to_json()
    assert row["known"] == sum(joint["known"] for joint in row["joints"]) > 0
    assert row["up_to"] == sum(joint["up_to"] for joint in row["joints"]) >= row["known"]
    assert row["height_class"] == "unknown"


def test_the_machines_evidence_stands_beside_a_fact_as_unconfirmed(assess):
    guesses = [made.guess(X, "nail-only-ledger", 0.98), made.guess(Y, "nail-only-ledger", 0.97)]
    known = {**LOW, "ledger_fastener": "nail"}
    concern = by_rule(assess(made.deck(photos=[X, Y], guesses=guesses, known=known)))["nail-only-ledger-low"]
    assert (concern.standing, concern.photos) == ("seen-by-person", ())
    assert concern.to_json()["unconfirmed"] == [X.sha, Y.sha]


def test_facts_photos_are_the_evidence_of_a_fact(assess):
    evidence = made.deck(photos=[X])
    fact = Fact("d", None, "ledger_on", "veneer", "Ann", made.AT, (X.sha,))
    concern = by_rule(assess(replace(evidence, facts={"ledger_on": fact})))["ledger-on-veneer"]
    assert concern.photos == (X.sha,)


# ---- order -------------------------------------------------------------------------------------------


def order(assess, *evidence):
    return [summary.deck for summary in rank(assess(one) for one in evidence)]


def with_tag(name, tag, known=LOW, seen=True):
    shots, told = made.seen_photos(known, name=name) if seen else ([], [])
    shot = made.photo("x.jpg", deck=name)
    labels = [made.label(shot, core, "present" if core == tag else "absent") for core in made.CORE]
    if tag not in made.CORE:
        labels.append(made.label(shot, tag))
    return made.deck(name, photos=[*shots, shot], labels=[*told, *labels], known=known)


def nothing(name, seen=True):
    evidence = with_tag(name, "debris-at-flashing", seen=seen)
    words = {
        key: word for key, word in evidence.words.items() if word.value != "present" or "shows" in key[1]
    }
    return replace(evidence, photos=evidence.photos[:-1], words=words)


def test_order_of_decks(assess):
    stop = with_tag("stop", "nail-only-ledger", {**LOW, "extra_load": "crowd"})
    before = with_tag("before", "nail-only-ledger", {**LOW, "height_above_grade_ft": 4.0})
    season = with_tag("season", "missing-hanger")
    serious = with_tag("z-serious", "debris-at-flashing", seen=False)  # by its name it would come last
    watch = with_tag("watch", "debris-at-flashing")
    unanswered = nothing("unanswered")
    unanswered = replace(unanswered, photos=(*unanswered.photos, made.photo("new.jpg", deck="unanswered")))
    clear = nothing("clear")
    unseen = nothing("z-unseen", seen=False)
    assert (assess(unseen).tier, assess(unseen).gaps) == (None, "serious")
    expected = ["stop", "before", "season", "z-serious", "z-unseen", "watch", "unanswered", "clear"]
    assert order(assess, clear, unanswered, watch, unseen, serious, season, before, stop) == expected


def test_a_guess_moves_a_deck_up_and_its_confirmation_further(assess):
    watch = with_tag("a-watch", "debris-at-flashing")
    guessed = with_tag("b-guessed", "debris-at-flashing")
    new = made.photo("new.jpg", deck="b-guessed")
    guessed = replace(
        guessed,
        photos=(*guessed.photos, new),
        suggestions={(new.sha, "missing-hanger"): made.guess(new, "missing-hanger", 0.9)},
    )
    confirmed = with_tag("c-confirmed", "missing-hanger")
    assert order(assess, watch, guessed, confirmed) == ["c-confirmed", "b-guessed", "a-watch"]


def test_a_person_may_raise_a_deck_and_never_moves_it_down(assess):
    watch, season = with_tag("watch", "debris-at-flashing"), with_tag("season", "missing-hanger")
    raised = replace(watch, person_tier=PersonTier("watch", "stop-use", "It leans.", "Ann", made.AT))
    assert order(assess, season, raised) == ["watch", "season"]
    assert assess(raised).reason == "Ann put it at 'stop-use': It leans."
    lowered = replace(season, person_tier=PersonTier("season", "nothing-seen", "Fine.", "Ann", made.AT))
    assert order(assess, watch, lowered) == ["season", "watch"]


def test_a_person_who_says_nothing_seen_does_not_raise_a_deck_above_null(assess):
    evidence = replace(made.deck("d"), person_tier=PersonTier("d", "nothing-seen", "Fine.", "Ann", made.AT))
    assert "Fine" not in assess(evidence).reason


def test_height_weighs_what_was_not_seen(assess):
    low = made.deck("a-low", known={"height_above_grade_ft": 1.0, "has_guard": True})
    high = made.deck(
        "b-high", known={"height_above_grade_ft": 12.0, "has_guard": True, "post_height_ft": 1.0}
    )
    assert order(assess, low, high) == ["b-high", "a-low"]
