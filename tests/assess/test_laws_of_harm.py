"""Unknown is never fine, what was seen is never erased, worse never reads milder: over random decks.

20,000 decks each in a long run. Every law has a broken program that it catches.
"""

from dataclasses import replace

import deck_builder as made
import law_predicates as law
import pytest
from hypothesis import given
from hypothesis import strategies as st
from laws import decks as some
from random_decks import BASE, DRAWN, SEEN, SHOTS, decks, facts, labels

from triage.assess.disputes import _against
from triage.structure.facts import FACT_KEYS
from triage.structure.harm import harms


@some(150)
@given(decks(), st.data())
def test_ignorance_is_never_better(evidence, data):
    keys = sorted(law.values_of(evidence))
    if keys:
        assert law.ignorance(evidence, data.draw(st.sampled_from(keys))) == ""


@some(250)
@given(decks(), st.data())
def test_a_fact_moved_in_the_direction_of_harm_never_reads_milder(evidence, data):
    known = law.values_of(evidence)
    keys = sorted(key for key in known if key in harms() and law.worse_values(key, known[key]))
    which, how_far = data.draw(st.integers(0, 10**6)), data.draw(st.integers(0, 10**6))
    if keys:
        key = keys[which % len(keys)]
        values = law.worse_values(key, known[key])
        worse = values[how_far % len(values)]
        assert law.harm(evidence, key, worse) == "", (key, known[key], worse)


@pytest.mark.parametrize("edge_in", [1.9, 0.5])
def test_one_fault_found_leaves_as_much_to_look_at_as_before(edge_in):
    """The rows' distance is not known; an edge that is too near does not settle it."""
    known = {key: value for key, value in BASE.items() if key != "ledger_row_spacing_in"}
    photos, told = SEEN
    evidence = made.deck(photos=list(photos), labels=list(told), known=known)
    assert law.harm(evidence, "ledger_edge_in", edge_in) == ""


OUTSIDE = {
    "joists": {"joist_spacing_in": 24.1},
    "beam": {"beam_size": "4-2x10"},
    "post": {"post_size": "10x10"},
    "snow": {"snow_load_psf": 71.0},
    "crowd": {"extra_load": "crowd"},
    "two storeys": {"storeys": 2},
}


@pytest.mark.parametrize("why", sorted(OUTSIDE))
@pytest.mark.parametrize(
    "key",
    ["joist_span_ft", "joist_overhang_ft", "beam_span_ft", "post_height_ft", "ledger_fastener_spacing_in"],
)
def test_over_the_limit_never_reads_milder_than_outside_the_table(why, key):
    """A check outside its table weighs at its own joint, no more than the same check when it is over."""
    evidence = made.deck(photos=SHOTS[:1], labels=[], known={**BASE, **OUTSIDE[why]})
    for worse in law.worse_values(key, BASE[key]):
        assert law.harm(evidence, key, worse) == "", worse


@pytest.mark.parametrize("height_ft", [2.0, 9.0, 22.0])
@pytest.mark.parametrize(("now", "worse"), [(24.9, 25.0), (21.0, 40.0)])
def test_a_wetter_band_never_weighs_less(height_ft, now, worse):
    known = {**BASE, "height_above_grade_ft": height_ft, "band_moisture_percent": now}
    evidence = made.deck(photos=SHOTS[:1], labels=[], known=known)
    assert law.harm(evidence, "band_moisture_percent", worse) == ""


@some(100)
@given(decks(), labels())
def test_one_more_defect_never_reads_milder(evidence, label):
    assert law.one_more_defect(evidence, label) == ""


def test_a_yes_on_one_photo_closes_no_gap_that_cannot_tell_left_on_another():
    photos, told = SEEN
    untold = made.label(SHOTS[1], "missing-hanger", value="unclear", place="left end")
    evidence = made.deck(photos=[*photos, *SHOTS[1:3]], labels=[*told, untold], known=BASE)
    assert law.assess(evidence).gaps == "some"
    for shot in SHOTS[1:3]:
        assert law.one_more_defect(evidence, made.label(shot, "missing-hanger", place="left end")) == ""


def test_a_mild_fault_that_was_found_leaves_as_much_to_look_for_as_an_open_question():
    """Nobody said whether debris lies there; a 'yes' never moves the deck down in where to look first."""
    photos, told = SEEN
    asked = [one for one in told if (one.photo, one.tag) != (photos[0].sha, "debris-at-flashing")]
    assert len(asked) == len(told) - 1
    evidence = made.deck(photos=list(photos), labels=asked, known=BASE)
    assert law.one_more_defect(evidence, made.label(photos[0], "debris-at-flashing")) == ""


@some(150)
@given(decks(), st.data())
def test_no_fact_erases_what_a_photo_shows(evidence, data):
    key = data.draw(st.sampled_from(sorted(DRAWN)))
    assert law.erasing(evidence, key, data.draw(DRAWN[key])) == ""


DISPUTED = sorted(_against())
AGAINST = sorted(
    {leaf.name for rows in _against().values() for one, _ in rows for leaf in one.leaves("fact")} & set(DRAWN)
)


@some(150)
@given(labels(DISPUTED, ("present",)), facts(), st.sampled_from(AGAINST), st.data())
def test_no_fact_that_speaks_against_a_photo_erases_it(label, known, key, data):
    shot = next(one for one in SHOTS if one.sha == label.photo)
    told = {name: value for name, value in known.items() if name != key}
    evidence = made.deck(photos=[shot], labels=[label], known=told)
    assert law.erasing(evidence, key, data.draw(DRAWN[key])) == ""


def test_both_are_shown_as_a_dispute():
    told = [made.label(SHOTS[0], "missing-hanger", count=6)]
    evidence = made.deck(photos=SHOTS[:1], labels=told, known={**BASE, "joist_bearing": "on-beam"})
    concern = next(one for one in law.assess(evidence).concerns if one.tag == "missing-hanger")
    assert concern.standing == "disputed"
    assert "joist_bearing" in concern.remark
    assert "until a person settles it" in concern.remark


@some(100)
@given(decks())
def test_combining_rules_add_no_bonus(evidence):
    assert law.no_bonus(evidence) == ""


@some(100)
@given(decks(seen=True))
def test_nothing_seen_says_what_it_rests_on(evidence):
    assert law.nothing_seen(evidence) == ""
    assert law.nothing_seen(law.whole(evidence)) == ""


def whole_deck(**more):
    photos, told = SEEN
    return made.deck(photos=photos, labels=told, known={**law.COMPLETE, **more})


def test_a_deck_of_which_all_is_known_and_well_reads_nothing_seen():
    summary = law.assess(whole_deck())
    assert (summary.tier, summary.concerns) == ("nothing-seen", ()), summary.reason
    assert "checks that could not be made" not in summary.reason or "guard" in summary.reason


@pytest.mark.parametrize("key", sorted(law.COMPLETE))
def test_without_any_one_fact_that_could_be_bad_it_no_longer_does(key):
    told = {name: value for name, value in law.COMPLETE.items() if name != key}
    photos, labels_ = SEEN
    summary = law.assess(made.deck(photos=photos, labels=labels_, known=told))
    harmful = [one for one in _bad_values(key) if law.assess(whole_deck(**{key: one})).tier != "nothing-seen"]
    if harmful:
        assert summary.tier != "nothing-seen", (key, harmful)


def _bad_values(key):
    from random_decks import COUNTS, NUMBERS, SIZES

    known = NUMBERS.get(key) or COUNTS.get(key) or SIZES.get(key) or FACT_KEYS[key].choices
    if known:
        return known
    schema = FACT_KEYS[key]
    if schema.type in ("bool", "list"):
        return (True, False) if schema.type == "bool" else [[one] for one in schema.choices]
    return (schema.low, min(schema.high, 1000.0)) if schema.type in ("number", "count") else ()


# ---- broken variants of the program that the laws catch -------------------------------------------------


def test_a_program_that_takes_unknown_height_for_low_is_caught(monkeypatch):
    from triage.assess.severity import Matrix

    high = whole_deck(height_above_grade_ft=14.0, post_height_ft=13.0, bracing=False)
    assert law.ignorance(high, "height_above_grade_ft") == ""
    fall = Matrix.fall
    monkeypatch.setattr(Matrix, "fall", lambda self, ft: fall(self, 0.0 if ft is None else ft))
    shot = SHOTS[0]
    labeled = made.deck(
        photos=[shot, *SEEN[0]],
        labels=[made.label(shot, "ledger-gap"), *SEEN[1]],
        known={**BASE, "height_above_grade_ft": 14.0},
    )
    assert "lowered" in law.ignorance(labeled, "height_above_grade_ft")


def test_a_program_without_unsaid_facts_is_caught(monkeypatch):
    import triage.assess.summary as program
    from triage.assess.unsaid import Unsaid

    tub = whole_deck(extra_load="hot-tub")
    assert law.ignorance(tub, "extra_load") == ""
    monkeypatch.setattr(program, "unsaid", lambda *given: Unsaid())
    assert "nothing-seen" in law.ignorance(tub, "extra_load")
    unknown = made.deck(
        photos=SEEN[0], labels=SEEN[1], known={k: v for k, v in law.COMPLETE.items() if k != "beam_size"}
    )
    assert law.nothing_seen(unknown) != ""


def test_a_program_that_is_silent_outside_its_tables_is_caught(monkeypatch):
    import triage.structure.irc_joists as program
    from triage.structure.check import Answer

    long = whole_deck(joist_span_ft=18.0, joist_spacing_in=24.0, deck_depth_ft=20.0)
    assert law.harm(long, "joist_spacing_in", 26.0) == ""
    true = program._answers

    def silent(facts):
        harder, easier, beyond = true(facts)
        return harder, Answer(None, "", "") if beyond else easier, beyond

    monkeypatch.setattr(program, "_answers", silent)
    assert law.harm(long, "joist_spacing_in", 26.0) != ""


def test_a_program_that_lets_a_fact_hide_a_photo_is_caught(monkeypatch):
    shots = SHOTS[:1]
    told = [made.label(shots[0], "missing-hanger", count=6)]
    known = {key: value for key, value in BASE.items() if key != "joist_bearing"}
    evidence = made.deck(photos=[*shots, *SEEN[0]], labels=[*told, *SEEN[1]], known=known)
    assert law.erasing(evidence, "joist_bearing", "on-beam") == ""
    rules = dict(law.BOOK.rules)
    from triage.assess.conditions import Condition

    on_beam = Condition("not", (Condition("fact", name="joist_bearing", tests=(("is", "on-beam"),)),))
    for name in ("missing-hanger", "missing-hanger-run"):
        rule = rules[name]
        rules[name] = rule.model_copy(update={"when": Condition("all", (rule.when, on_beam))})
    monkeypatch.setattr(law, "BOOK", type(law.BOOK)(rules, "", law.BOOK.matrix))
    monkeypatch.setattr(law, "assess", lambda one: law.assess_deck(one, law.BOOK, law.VOCABULARY))
    assert "hides" in law.erasing(evidence, "joist_bearing", "on-beam")


def test_a_matrix_in_which_a_higher_deck_reads_milder_is_caught(monkeypatch):
    from triage.assess.severity import Matrix

    evidence = made.deck(photos=SHOTS[:1], labels=[made.label(SHOTS[0], "beam-rot")], known=dict(BASE))
    assert law.harm(evidence, "height_above_grade_ft", 22.0) == ""
    monkeypatch.setattr(Matrix, "tiers_of", lambda self, grade, at_least=None: ("stop-use",) + ("watch",) * 3)
    rule = law.BOOK.rules["beam-rot"]
    broken = rule.model_copy(update={"tiers": ("stop-use", "watch", "watch", "watch")})
    rules = {**law.BOOK.rules, "beam-rot": broken}
    monkeypatch.setattr(law, "BOOK", type(law.BOOK)(rules, "", law.BOOK.matrix))
    monkeypatch.setattr(law, "assess", lambda one: law.assess_deck(one, law.BOOK, law.VOCABULARY))
    assert law.harm(evidence, "height_above_grade_ft", 22.0) != ""


def test_an_order_that_adds_rules_up_is_caught(monkeypatch):
    import triage.assess.order as program

    shot = SHOTS[0]
    told = [made.label(shot, "nail-only-ledger"), made.label(shot, "ledger-gap")]
    evidence = made.deck(photos=[shot], labels=told, known={**BASE, "height_above_grade_ft": 9.0})
    assert law.no_bonus(evidence) == ""
    true = program._joint

    def added(name, words, known, *rest):
        joint = true(name, words, known, *rest)
        return replace(joint, known=20 * sum(one.weight for one in known))

    monkeypatch.setattr(program, "_joint", added)
    assert law.no_bonus(evidence) != ""


def test_another_persons_yes_closes_no_gap_that_cannot_tell_left():
    shot = SHOTS[0]
    told = [made.label(shot, "debris-at-flashing", "unclear")]
    evidence = made.deck(photos=[shot, *SEEN[0]], labels=[*told, *SEEN[1]], known=BASE)
    assert law.one_more_defect(evidence, made.label(shot, "debris-at-flashing")) == ""


def test_a_footing_outside_its_table_stays_outside_when_it_is_too_shallow_too():
    known = {**BASE, "soil_psf": 1000.0, "footing_width_in": 40.0}
    evidence = made.deck(photos=list(SEEN[0]), labels=list(SEEN[1]), known=known)
    assert law.harm(evidence, "footing_depth_in", 4.0) == ""
