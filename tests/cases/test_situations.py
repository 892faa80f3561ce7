"""Twenty deck situations as a practitioner tells them: labels, facts, the tier and why."""

from dataclasses import replace

import deck_builder as made
import pytest

from triage.assess import assess_deck, rank
from triage.library.records import Finding


@pytest.fixture
def told(book, vocabulary):
    """Tell a situation: what was labeled present on one photo, the facts, what was seen well."""

    def tell(*tags, known=None, seen=True, unseen=(), name="d", counts=None, **more):
        known = {"attached": True, "has_beam": True, **(known or {})}
        photos, labels = made.seen_photos(known, name=name) if seen else ([], [])
        labels = [one for one in labels if one.tag.removeprefix("shows-") not in unseen]
        shot = made.photo("found.jpg", deck=name)
        photos.append(shot)
        labels += [made.label(shot, core, "absent") for core in made.CORE if core not in tags]
        labels += [made.label(shot, tag, count=(counts or {}).get(tag)) for tag in tags]
        evidence = made.deck(name, photos=photos, labels=labels, known=known)
        return assess_deck(replace(evidence, **more), book, vocabulary)

    return tell


def rules(summary):
    return {concern.rule: concern for concern in summary.concerns}


NAILED = {
    "ledger_fastener": "nail",
    "ledger_nail": "16d-common",
    "ledger_on": "band-joist",
    "joist_span_ft": 6.0,
    "ledger_fastener_spacing_in": 4,
    "ledger_sheathing_in": 0,
    "ledger_fasteners_per_group": 6,
    "species": "southern-pine",
}


def test_01_nails_that_calculate_well(told):
    """Nails so many that the arithmetic comes out fine: shear is not what fails, so it stays before-use."""
    summary = told(known={**NAILED, "height_above_grade_ft": 4.0})
    mechanics = next(one for one in summary.checks if one.check == "ledger-fastener-mechanics")
    assert mechanics.ratio is not None
    assert mechanics.ratio < 1
    assert mechanics.verdict == "over"
    assert summary.tier == "repair-before-use"
    assert {one for one in rules(summary) if one.startswith("ledger")} == set()


def test_02_a_sound_low_old_deck(told):
    """Built in 1992, 20 in up, a low rail, no ties, some leaves: nothing beyond watch."""
    known = {
        "height_above_grade_ft": 20 / 12,
        "year_built": 1992,
        "hold_down_count": 0,
        "has_guard": True,
        "guard_height_in": 32,
        "bracing": False,
        "post_height_ft": 1.0,
    }
    summary = told("debris-at-flashing", "white-bloom", known=known)
    assert (summary.tier, summary.tier_if_true) == ("watch", "watch")
    assert summary.gaps == "none"


def test_03_good_bolts_into_a_veneer(told):
    """Half-inch bolts every 16 in, but into brick facing: before use, and an engineer."""
    known = {
        "height_above_grade_ft": 5.0,
        "ledger_on": "veneer",
        "ledger_fastener": "half-inch-bolt",
        "ledger_fastener_spacing_in": 16,
    }
    summary = told(known=known)
    assert summary.tier == "repair-before-use"
    assert rules(summary)["ledger-on-veneer"].call == "engineer"


def test_04_half_a_ledger(told, book, vocabulary):
    """The left half was photographed and is bolted, a shed hides the right: not enough to say."""
    known = {"attached": True, "has_beam": True, "height_above_grade_ft": 2.0, "ledger_length_ft": 16}
    photos, labels = made.seen_photos(known)
    gone = {shot.sha for shot in photos if shot.name.startswith("ledger") and "left end" not in shot.name}
    evidence = made.deck(
        photos=[shot for shot in photos if shot.sha not in gone],
        labels=[one for one in labels if one.photo not in gone],
        known=known,
    )
    summary = assess_deck(evidence, book, vocabulary)
    assert (summary.tier, summary.gaps) == (None, "serious")
    ledger = next(one for one in summary.coverage if one.element == "ledger")
    assert ledger.why == "1 of 3 stretches of a 16 ft ledger; not yet: middle, right end"
    assert any("not yet: middle, right end" in ask for ask in summary.go_back_for)


def test_05_an_unseen_ledger_high_up_goes_before_debris_low_down(told):
    """Nobody saw the ledger of the high deck; on the low one leaves lie in the joint."""
    high = told(known={"height_above_grade_ft": 11.0}, unseen=("ledger",), name="high")
    low = told("debris-at-flashing", known={"height_above_grade_ft": 1.5}, name="low")
    assert (high.tier, low.tier) == (None, "watch")
    assert [one.deck for one in rank([low, high])] == ["high", "low"]


def test_06_a_joist_on_a_beam_without_hangers(told):
    """Joists that lie on a beam need no hangers, yet a photo answered 'missing' is not erased by that fact.

    The two contradict each other: the concern stands as disputed until a person settles it.
    """
    known = {"height_above_grade_ft": 2.0, "joist_bearing": "on-beam", "house_side_support": "own-beam"}
    summary = told("missing-hanger", known=known)
    assert [(one.rule, one.standing) for one in summary.concerns] == [("missing-hanger", "disputed")]
    bare = told(known=known)
    assert bare.concerns == ()
    assert "hanger" not in {one.element for one in bare.coverage}


@pytest.mark.parametrize(
    ("inches", "tier"), [(18, "repair-this-season"), (30, "repair-this-season"), (30.1, "repair-before-use")]
)
def test_07_exactly_30_in_and_30_1_in(told, inches, tier):
    """Nails only: 30 in is not over 30 in, 30.1 in is."""
    assert told("nail-only-ledger", known={"height_above_grade_ft": inches / 12}).tier == tier


def test_08_spans_between_two_columns(told):
    """A 9 ft span stands between the 8 and 10 ft columns: the harder one governs, 18 in for lags."""
    known = {
        "height_above_grade_ft": 2.0,
        "ledger_fastener": "half-inch-lag",
        "ledger_on": "band-joist",
        "ledger_sheathing_in": 0.5,
        "joist_span_ft": 9.0,
    }
    within = told(known={**known, "ledger_fastener_spacing_in": 18})
    assert (within.tier, within.concerns) == (None, ())  # not 'nothing seen': other facts are not known
    assert told(known={**known, "ledger_fastener_spacing_in": 19}).tier == "repair-this-season"


def test_09_a_disputed_tag(told):
    """Ann sees a missing hanger, Ben does not: it counts as missing until somebody settles it."""
    known = {"attached": True, "has_beam": True, "height_above_grade_ft": 2.0}
    photos, labels = made.seen_photos(known)
    shot = made.photo("found.jpg")
    labels += [made.label(shot, core, "absent", by="Ben") for core in made.CORE]
    labels.append(made.label(shot, "missing-hanger", by="Ann"))
    evidence = made.deck(photos=[*photos, shot], labels=labels, known=known)
    summary = told("missing-hanger", words=evidence.words, photos=evidence.photos)
    assert (summary.tier, rules(summary)["missing-hanger"].standing) == ("repair-this-season", "disputed")


def test_10_a_machines_guess_of_97_on_a_fully_seen_deck(told):
    """Everything seen, one photo only guessed at: the worklist puts it up, paper prints no tier."""
    known = {"height_above_grade_ft": 5.0}
    guessed = told(known=known, name="guessed")
    new = made.photo("new.jpg", deck="guessed")
    summary = told(
        known=known,
        name="guessed",
        photos=(*_photos(known), new),
        suggestions={(new.sha, "nail-only-ledger"): made.guess(new, "nail-only-ledger", 0.97)},
    )
    assert (guessed.tier, guessed.concerns) == (None, ())  # photos alone never say 'nothing seen'
    assert (summary.tier, summary.tier_if_true) == (None, "repair-before-use")
    assert [one.standing for one in summary.concerns] == ["possible"]
    watch = told("debris-at-flashing", known=known, name="watch")
    assert [one.deck for one in rank([watch, summary], "look")] == ["guessed", "watch"]
    assert [one.deck for one in rank([watch, summary], "danger")] == ["watch", "guessed"]


def _photos(known):
    shots, _ = made.seen_photos({"attached": True, "has_beam": True, **known}, name="guessed")
    return [*shots, made.photo("found.jpg", deck="guessed")]


def test_11_nails_and_the_board_has_moved(told):
    """Only 18 in up, but the nailed ledger stands off the wall: off it today."""
    summary = told("nail-only-ledger", "ledger-gap", known={"height_above_grade_ft": 1.5})
    assert summary.tier == "stop-use"
    assert rules(summary)["nail-only-ledger-gap"].call == "engineer"


def test_12_nails_but_a_beam_stands_by_the_house(told):
    """The ledger is only nailed, but a second beam line carries the joists 2 ft from the wall: watch."""
    known = {"height_above_grade_ft": 2.0, "house_side_support": "own-beam"}
    assert told("nail-only-ledger", known=known).tier == "watch"


def test_13_one_toe_nailed_joist_and_a_run_of_them(told):
    """One joist can lean on its neighbors; a run cannot."""
    known = {"height_above_grade_ft": 3.0}
    assert told("toe-nailed-joist", known=known).tier == "repair-this-season"
    assert told("toe-nailed-joist", known=known, counts={"toe-nailed-joist": 4}).tier == "repair-before-use"


def test_14_light_rust_inland_and_by_the_sea(told):
    """The same tint is a note inland and work by the sea."""
    known = {"height_above_grade_ft": 3.0}
    assert told("light-rust", known=known).tier == "watch"
    assert told("light-rust", known={**known, "exposure": "coastal"}).tier == "repair-this-season"
    assert told("rusted-connector", known={**known, "exposure": "coastal"}).tier == "repair-before-use"


def test_15_a_side_bolted_beam_low_and_dry_high_and_on_4x4s(told):
    """Low and dry: this season, on lags too (as a low nailed ledger). High, wet, on 4x4s: before use."""
    low = {"height_above_grade_ft": 2.0, "exposure": "dry"}
    assert told("side-bolted-beam", known=low).tier == "repair-this-season"
    assert told("side-bolted-beam", known={**low, "height_above_grade_ft": 6.0}).tier == "repair-before-use"
    assert told("side-bolted-beam", known={**low, "exposure": "wet"}).tier == "repair-before-use"
    assert told("side-bolted-beam", "post-4x4", known=low).tier == "repair-before-use"
    assert told("beam-on-nails-or-lags", known=low).tier == "repair-this-season"
    assert (
        told("beam-on-nails-or-lags", known={**low, "height_above_grade_ft": 6.0}).tier == "repair-before-use"
    )


def test_16_a_hot_tub_on_joists_that_are_too_long(told):
    """A tub alone is emptied until an engineer has looked; on a frame over its span it is stop-use."""
    tub = {"height_above_grade_ft": 3.0, "extra_load": "hot-tub"}
    long = {"joist_size": "2x8", "joist_spacing_in": 16, "species": "southern-pine", "joist_span_ft": 13.5}
    assert rules(told(known=tub))["extra-load-hot-tub"].call == "engineer"
    assert told(known=tub).tier == "repair-before-use"
    assert told(known={**tub, **long}).tier == "stop-use"


def test_17_a_probe_that_sinks_into_the_band(told):
    """A stain is a note. A probe that sinks in a quarter inch is before use, half through is stop."""
    known = {"height_above_grade_ft": 3.0}
    assert told("band-stain", known=known).tier == "watch"
    summary = told("band-stain", known={**known, "band_probe_depth_in": 0.3})
    assert (summary.tier, rules(summary)["band-probe"].standing) == ("repair-before-use", "verified-on-site")
    assert told("band-stain", known={**known, "band_probe_depth_in": 0.8}).tier == "stop-use"


def test_18_a_rail_that_gives_when_pushed(told):
    """A loose post is before use; loose and notched, a storey up, nobody goes near it."""
    known = {"height_above_grade_ft": 9.0, "has_guard": True, "guard_post_firm": False}
    assert told(known=known).tier == "repair-before-use"
    assert told("guard-post-notched", known=known).tier == "stop-use"


def test_19_a_new_deck_that_only_departs_from_the_rule_book_of_today(told):
    """A rail of 34 in, 4-1/2 in gaps, no ties: each may have been allowed, together still watch."""
    known = {
        "height_above_grade_ft": 3.0,
        "has_guard": True,
        "guard_height_in": 34,
        "guard_gap_in": 4.5,
        "hold_down_count": 0,
        "guard_post_firm": True,
        "guard_post_notched": False,
    }
    summary = told(known=known)
    assert summary.tier == "watch"
    assert {one.kind for one in summary.concerns} == {"departs-from-today"}
    assert all("when built" in one.why for one in summary.concerns)


def test_20_it_bounces_and_the_inspector_has_no_tag_for_it(told):
    """What no tag covers is told as a finding, with its own tier, and ranks like any other concern."""
    bounce = Finding(
        "f1", "d", None, "repair-before-use", "The outer corner drops under one person.", "Ann", made.AT
    )
    summary = told(known={"height_above_grade_ft": 6.0}, findings=(bounce,))
    assert summary.tier == "repair-before-use"
    assert summary.reason == "The outer corner drops under one person."


def test_21_leaves_over_poor_flashing_and_a_stain(told):
    """Each is a note by itself; leaves where water already gets in are work for this season."""
    known = {"height_above_grade_ft": 3.0}
    for tag in ("debris-at-flashing", "flashing-over-decking", "band-stain"):
        assert told(tag, known=known).tier == "watch"
    assert told("debris-at-flashing", "flashing-over-decking", known=known).tier == "repair-this-season"
    assert told("debris-at-flashing", "band-stain", known=known).tier == "repair-this-season"


def test_22_what_hides_behind_a_ceiling_is_opened_up_not_photographed(told):
    """Joists above a ceiling: a gap that no second trip closes."""
    known = {"height_above_grade_ft": 9.0, "concealed": ["joist", "hanger"], "concealed_why": "ceiling below"}
    summary = told(known=known, unseen=("joist", "hanger"))
    assert (summary.tier, summary.gaps) == (None, "serious")
    assert summary.open_up == (
        "Open up to see the hanger: ceiling below.",
        "Open up to see the joist: ceiling below.",
    )
    assert summary.go_back_for == ()


def test_the_order_of_a_street(told):
    """All of them on one list: what must be left alone today first, what nobody looked at before a note."""
    stop = told("nail-only-ledger", "ledger-gap", known={"height_above_grade_ft": 1.5}, name="1-stop")
    veneer = told(known={"height_above_grade_ft": 5.0, "ledger_on": "veneer"}, name="2-veneer")
    rust = told("rusted-connector", known={"height_above_grade_ft": 5.0}, name="3-rust")
    unseen = told(known={"height_above_grade_ft": 9.0}, unseen=("ledger",), name="4-unseen")
    leaves = told("debris-at-flashing", known={"height_above_grade_ft": 2.0}, name="5-leaves")
    clear = told(known={"height_above_grade_ft": 2.0}, name="6-clear")
    street = [clear, leaves, unseen, rust, veneer, stop]
    assert [one.deck for one in rank(street)] == sorted(one.deck for one in street)
