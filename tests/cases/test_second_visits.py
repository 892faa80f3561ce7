"""Stories of second visits, told as an inspector would."""

from dataclasses import replace

import deck_builder as made
import pytest

from triage.assess import assess_deck
from triage.assess.compare import compare_summaries
from triage.assess.visits import fault
from triage.library.records import Closing, Fact, Finding

MAY, OCTOBER, NEXT_YEAR = "2026-05-04", "2026-10-11", "2027-06-01"
KNOWN = {"attached": True, "has_beam": True, "height_above_grade_ft": 5.0}


class Deck:
    """A deck whose visits are told one after the other."""

    def __init__(self, book, vocabulary, known=KNOWN):
        self.book, self.vocabulary, self.known = book, vocabulary, known
        self.done, self.closings, self.day = [], [], None

    def visit(self, date, *shots, findings=(), known=None, show=True):
        """Each shot is (file name, tag, value, place); one answered 'absent' shows the part, unless told."""
        photos, labels = [], []
        for name, tag, value, place in shots:
            shot = made.photo(name, visit=date)
            photos.append(shot)
            labels.append(made.label(shot, tag, value, place=place))
            if value == "absent" and show:
                element = next(r.element for r in self.book.rules.values() if r.primary_tag == tag)
                labels.append(made.label(shot, f"shows-{element}", place=place))
        facts = {
            key: Fact("d", date, key, value, "Ann", f"{date}T12:00") for key, value in (known or {}).items()
        }
        before = dict(self.day.facts) if self.day else made.facts(self.known)
        self.day = made.deck(
            visit=date, photos=photos, labels=labels, earlier=tuple(self.done), findings=findings
        )
        self.day = replace(self.day, facts={**before, **facts})
        self.done.append(self.day)
        return self

    def sha(self, date, name):
        return made.sha(f"d/{date}/{name}")

    def close(self, rule, place, before, after, same_place=False):
        closing = Closing(
            "d",
            rule,
            place,
            self.sha(*before),
            self.sha(*after),
            "mended",
            "Cara",
            f"{after[0]}T18:00",
            after[0],
            same_place,
        )
        self.closings.append(closing)
        return closing

    def evidence(self, visit=None):
        day = next(one for one in self.done if one.visit == (visit or self.day.visit))
        return replace(day, closings=tuple(c for c in self.closings if c.visit <= day.visit))

    def summary(self, visit=None):
        return assess_deck(self.evidence(visit), self.book, self.vocabulary)

    def compared(self, one, other):
        photos = {photo.sha: photo.visit for visit in self.done for photo in visit.photos}
        return compare_summaries(self.summary(one), self.summary(other), photos)


@pytest.fixture
def deck(book, vocabulary):
    return Deck(book, vocabulary)


def found(summary):
    return {(one.rule, one.place): one.status for one in summary.concerns}


def three_missing(deck):
    return deck.visit(
        MAY,
        ("1.jpg", "missing-hanger", "present", "joist 2 of 9"),
        ("2.jpg", "missing-hanger", "present", "joist 5 of 9"),
        ("3.jpg", "missing-hanger", "present", "joist 8 of 9"),
    )


def test_three_hangers_missing_two_repaired_one_not_looked_at(deck):
    three_missing(deck).visit(
        OCTOBER,
        ("4.jpg", "missing-hanger", "absent", "joist 2 of 9"),
        ("5.jpg", "missing-hanger", "absent", "joist 5 of 9"),
    )
    deck.close("missing-hanger-run", "joist 2 of 9", (MAY, "1.jpg"), (OCTOBER, "4.jpg"))
    deck.close("missing-hanger-run", "joist 5 of 9", (MAY, "2.jpg"), (OCTOBER, "5.jpg"))
    assert deck.summary(MAY).tier == "repair-before-use"
    summary = deck.summary()
    assert found(summary) == {
        ("missing-hanger", "joist 8 of 9"): "not-looked-at-again",
        ("missing-hanger-run", "joist 2 of 9"): "repaired",
        ("missing-hanger-run", "joist 5 of 9"): "repaired",
    }
    assert summary.tier == "repair-this-season"
    left = next(one for one in summary.concerns if one.is_open)
    assert left.remark == "Not looked at again at this visit; it stays open."
    rows = {row.place: (row.status, row.change) for row in deck.compared(MAY, OCTOBER).concerns}
    assert rows == {
        "joist 2 of 9": ("repaired", "better"),
        "joist 5 of 9": ("repaired", "better"),
        "joist 8 of 9": ("not-looked-at-again", "not looked at again"),
    }


def test_the_first_visit_stays_as_it_was(deck):
    three_missing(deck)
    before = deck.summary(MAY).to_json()
    deck.visit(OCTOBER, ("4.jpg", "missing-hanger", "absent", "joist 2 of 9"))
    deck.close("missing-hanger-run", "joist 2 of 9", (MAY, "1.jpg"), (OCTOBER, "4.jpg"))
    assert deck.summary(MAY).to_json() == before


def test_absent_closes_nothing_by_itself(deck):
    three_missing(deck).visit(OCTOBER, ("4.jpg", "missing-hanger", "absent", "joist 2 of 9"))
    assert sorted(found(deck.summary()).values()) == [
        "looked-at-again",
        "not-looked-at-again",
        "not-looked-at-again",
    ]
    assert deck.summary().tier == "repair-before-use"


def test_an_after_photo_of_the_wrong_joist_closes_nothing(deck):
    three_missing(deck).visit(OCTOBER, ("4.jpg", "missing-hanger", "absent", "joist 3 of 9"))
    closing = deck.close("missing-hanger-run", "joist 2 of 9", (MAY, "1.jpg"), (OCTOBER, "4.jpg"))
    why = fault(closing, deck.evidence().visits(), deck.book)
    assert (why.condition, why.photo) == ("same-place", deck.sha(OCTOBER, "4.jpg"))
    assert "(joist 3 of 9)" in why.detail
    assert "repaired" not in found(deck.summary()).values()
    assert len([one for one in deck.summary().concerns if one.is_open]) == 3


def test_an_after_photo_that_shows_the_defect_closes_nothing(deck):
    three_missing(deck).visit(OCTOBER, ("4.jpg", "missing-hanger", "present", "joist 2 of 9"))
    closing = deck.close("missing-hanger-run", "joist 2 of 9", (MAY, "1.jpg"), (OCTOBER, "4.jpg"))
    assert fault(closing, deck.evidence().visits(), deck.book).condition == "part-seen"
    assert found(deck.summary())["missing-hanger-run", "joist 2 of 9"] == "still-there"


def test_a_repair_that_fails_a_year_later_is_new_and_says_so(deck):
    deck.visit(MAY, ("1.jpg", "ledger-gap", "present", "left end"))
    deck.visit(OCTOBER, ("2.jpg", "ledger-gap", "absent", "left end"))
    deck.close("ledger-gap", "left end", (MAY, "1.jpg"), (OCTOBER, "2.jpg"))
    assert found(deck.summary()) == {("ledger-gap", "left end"): "repaired"}
    deck.visit(NEXT_YEAR, ("3.jpg", "ledger-gap", "present", "left end"))
    summary = deck.summary()
    assert found(summary) == {("ledger-gap", "left end"): "new"}
    assert summary.concerns[0].remark == "Closed by Cara and seen again."
    assert summary.concerns[0].photos == (deck.sha(NEXT_YEAR, "3.jpg"),)
    assert [row.status for row in deck.compared(OCTOBER, NEXT_YEAR).concerns] == ["new"]


def test_what_was_repaired_stays_on_record_a_year_later(deck):
    deck.visit(MAY, ("1.jpg", "ledger-gap", "present", "left end"))
    deck.visit(OCTOBER, ("2.jpg", "ledger-gap", "absent", "left end"))
    deck.close("ledger-gap", "left end", (MAY, "1.jpg"), (OCTOBER, "2.jpg"))
    deck.visit(NEXT_YEAR)
    assert found(deck.summary()) == {("ledger-gap", "left end"): "repaired"}
    assert deck.summary().tier is None


def test_two_inspectors_on_two_phones_at_one_place_make_one_concern(deck):
    deck.visit(
        MAY,
        ("phone-a/IMG_0001.jpg", "missing-hanger", "present", "Joist 4 of 9, house side"),
        ("phone-b/IMG_0001.jpg", "missing-hanger", "present", "joist 4 of 9 house side"),
    )
    summary = deck.summary()
    assert [(one.rule, one.count, len(one.photos)) for one in summary.concerns] == [("missing-hanger", 1, 2)]


def test_seen_again_at_the_same_place_is_still_there(deck):
    deck.visit(MAY, ("1.jpg", "ledger-gap", "present", "left end"))
    deck.visit(
        OCTOBER, ("2.jpg", "ledger-gap", "present", "left end"), ("3.jpg", "ledger-gap", "present", "middle")
    )
    assert found(deck.summary()) == {
        ("ledger-gap", "left end"): "still-there",
        ("ledger-gap", "middle"): "new",
    }
    row = next(one for one in deck.compared(MAY, OCTOBER).concerns if one.place == "left end")
    assert (row.photos_before, row.photos_after) == (
        (deck.sha(MAY, "1.jpg"),),
        (deck.sha(OCTOBER, "2.jpg"),),
    )


def test_visits_entered_in_the_wrong_order_give_the_same(deck, book, vocabulary):
    three_missing(deck).visit(OCTOBER, ("4.jpg", "missing-hanger", "absent", "joist 2 of 9"))
    other = Deck(book, vocabulary)
    other.visit(OCTOBER, ("4.jpg", "missing-hanger", "absent", "joist 2 of 9"))
    october = other.done.pop()
    other.day = None
    three_missing(other)
    other.done.append(replace(october, earlier=(other.done[0],), facts=other.done[0].facts))
    other.day = other.done[-1]
    assert other.summary().to_json() == deck.summary().to_json()


def test_a_clock_a_year_off_makes_an_after_photo_older_than_the_before_photo(deck):
    wrong = "2025-10-11"
    deck.visit(wrong, ("4.jpg", "missing-hanger", "absent", "joist 2 of 9"))
    deck.visit(MAY, ("1.jpg", "missing-hanger", "present", "joist 2 of 9"))
    closing = deck.close("missing-hanger", "joist 2 of 9", (MAY, "1.jpg"), (wrong, "4.jpg"))
    closing = replace(closing, visit=MAY)
    deck.closings = [closing]
    assert fault(closing, deck.evidence().visits(), deck.book).condition == "later-visit"
    assert found(deck.summary()) == {("missing-hanger", "joist 2 of 9"): "new"}


def test_an_after_photo_needs_both_that_it_shows_the_part_and_that_the_defect_is_absent(deck):
    deck.visit(MAY, ("1.jpg", "flashing-missing", "present", "middle"))
    deck.visit(OCTOBER, ("2.jpg", "flashing-missing", "absent", "middle"), show=False)
    closing = deck.close("flashing-missing", "middle", (MAY, "1.jpg"), (OCTOBER, "2.jpg"))
    assert fault(closing, deck.evidence().visits(), deck.book).condition == "part-seen"
    assert found(deck.summary())["flashing-missing", "middle"] == "not-looked-at-again"
    deck.done.pop()
    deck.day = deck.done[-1]
    deck.visit(OCTOBER, ("2.jpg", "shows-flashing", "present", "middle"))
    assert fault(closing, deck.evidence().visits(), deck.book).condition == "defect-absent"
    deck.done.pop()
    deck.day = deck.done[-1]
    deck.visit(OCTOBER, ("2.jpg", "flashing-missing", "absent", "middle"))
    assert fault(closing, deck.evidence().visits(), deck.book) is None
    assert found(deck.summary()) == {("flashing-missing", "middle"): "repaired"}


def test_a_gap_nobody_closed_still_combines_with_what_is_found_later(deck):
    deck.visit(MAY, ("1.jpg", "nail-only-ledger", "present", "left end"))
    assert deck.summary().tier == "repair-before-use"
    deck.visit(OCTOBER, ("2.jpg", "ledger-gap", "present", "left end"))
    assert deck.summary().tier == "stop-use"


def test_a_measured_concern_is_still_there_only_when_it_was_measured_again(deck):
    deck.visit(MAY, known={"band_probe_depth_in": 0.3})
    deck.visit(OCTOBER)
    assert found(deck.summary()) == {("band-probe", None): "not-looked-at-again"}
    deck.visit(NEXT_YEAR, known={"band_probe_depth_in": 0.4})
    assert found(deck.summary()) == {("band-probe", None): "still-there"}


def test_measured_again_and_sound_is_better_and_says_why(deck):
    deck.visit(MAY, known={"band_probe_depth_in": 0.3})
    deck.visit(OCTOBER, known={"band_probe_depth_in": 0.0})
    assert deck.summary().concerns == ()
    rows = deck.compared(MAY, OCTOBER).concerns
    assert [(row.status, row.remark) for row in rows] == [
        ("repaired", "Measured again at this visit: it no longer holds.")
    ]


def test_a_photo_closes_no_measured_concern_only_measuring_again_does(deck):
    deck.visit(MAY, ("1.jpg", "shows-band", "present", None), known={"band_probe_depth_in": 0.3})
    deck.visit(OCTOBER, ("2.jpg", "shows-band", "present", None))
    closing = deck.close("band-probe", None, (MAY, "1.jpg"), (OCTOBER, "2.jpg"), same_place=True)
    assert fault(closing, deck.evidence().visits(), deck.book).condition == "seen-on-photo"
    assert found(deck.summary()) == {("band-probe", None): "not-looked-at-again"}
    deck.visit(NEXT_YEAR, known={"band_probe_depth_in": 0.0})
    assert deck.summary().concerns == ()


def test_a_finding_stays_open_until_a_person_closes_it(deck):
    bounce = Finding("f1", "d", MAY, "repair-this-season", "The deck bounces.", "Ann", made.AT)
    deck.visit(MAY, ("1.jpg", "shows-joist", "present", None), findings=(bounce,))
    deck.visit(OCTOBER, ("2.jpg", "shows-joist", "present", None), findings=(bounce,))
    assert found(deck.summary()) == {("finding-f1", None): "not-looked-at-again"}
    deck.close("finding-f1", None, (MAY, "1.jpg"), (OCTOBER, "2.jpg"))
    assert [one.is_open for one in deck.summary().concerns] == [True], "nobody confirmed the pair"
    deck.closings.clear()
    deck.close("finding-f1", None, (MAY, "1.jpg"), (OCTOBER, "2.jpg"), same_place=True)
    summary = deck.summary()
    assert [(one.rule, one.status, one.concluded) for one in summary.concerns] == [
        ("finding-f1", "repaired", "The deck bounces.")
    ]


def test_repaired_and_repaired_again_is_one_row(deck):
    deck.visit(MAY, ("1.jpg", "ledger-gap", "present", "left end"))
    deck.visit(OCTOBER, ("2.jpg", "ledger-gap", "absent", "left end"))
    deck.close("ledger-gap", "left end", (MAY, "1.jpg"), (OCTOBER, "2.jpg"))
    deck.visit(NEXT_YEAR, ("3.jpg", "ledger-gap", "present", "left end"))
    deck.visit("2027-09-01", ("4.jpg", "ledger-gap", "absent", "left end"))
    deck.close("ledger-gap", "left end", (NEXT_YEAR, "3.jpg"), ("2027-09-01", "4.jpg"))
    assert [(one.status, one.photos[1]) for one in deck.summary().concerns] == [
        ("repaired", deck.sha("2027-09-01", "4.jpg"))
    ]


def test_a_photo_of_the_same_walk_closes_nothing(deck):
    deck.visit(
        MAY,
        ("1.jpg", "missing-hanger", "present", "joist 2 of 9"),
        ("2.jpg", "missing-hanger", "absent", "joist 2 of 9"),
    )
    closing = deck.close("missing-hanger", "joist 2 of 9", (MAY, "1.jpg"), (MAY, "2.jpg"))
    assert fault(closing, deck.evidence().visits(), deck.book).condition == "later-visit"
    assert found(deck.summary()) == {("missing-hanger", "joist 2 of 9"): "new"}


def test_rust_that_grew_at_one_place_is_worse_and_stands_once(deck):
    deck.visit(MAY, ("1.jpg", "light-rust", "present", "post 2 of 3"))
    deck.visit(OCTOBER, ("2.jpg", "rusted-connector", "present", "Post 2 of 3"))
    rows = deck.compared(MAY, OCTOBER).concerns
    assert [(row.rule, row.status, row.change) for row in rows] == [
        ("rusted-connector", "still-there", "worse")
    ]
    assert (rows[0].photos_before, rows[0].photos_after) == (
        (deck.sha(MAY, "1.jpg"),),
        (deck.sha(OCTOBER, "2.jpg"),),
    )


def test_rust_at_another_place_is_another_concern(deck):
    deck.visit(MAY, ("1.jpg", "light-rust", "present", "post 2 of 3"))
    deck.visit(OCTOBER, ("2.jpg", "rusted-connector", "present", "post 3 of 3"))
    rows = {row.place: (row.rule, row.status) for row in deck.compared(MAY, OCTOBER).concerns}
    assert rows == {
        "post 2 of 3": ("light-rust", "not-looked-at-again"),
        "post 3 of 3": ("rusted-connector", "new"),
    }
