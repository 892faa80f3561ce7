"""What counts as seen. 'Not seen' is never 'fine'."""

import deck_builder as made
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.assess.coverage import coverage, gaps, go_back_for, needed, needs, open_up
from triage.assess.places import same_place, stretches

LOW = {"attached": True, "has_beam": True, "height_above_grade_ft": 2.0, "deck_width_ft": 12.0}


def seen_of(element, photos=(), labels=(), known=None, **more):
    rows = coverage(made.deck(photos=list(photos), labels=list(labels), known=known or {}, **more).visits())
    return next((row for row in rows if row.element == element), None)


def shots(element, places, **quality):
    photos = [made.photo(f"{element}-{number}.jpg", **quality) for number in range(len(places))]
    return photos, [
        made.label(shot, f"shows-{element}", place=place) for shot, place in zip(photos, places, strict=True)
    ]


def test_nothing_photographed_is_not_seen():
    row = seen_of("ledger")
    assert (row.seen, row.photos, row.why) == ("not-seen", (), "no photo shows it")


def test_absent_is_not_seen_and_unclear_is_poorly():
    shot = made.photo("a.jpg")
    assert seen_of("beam", [shot], [made.label(shot, "shows-beam", "absent")]).seen == "not-seen"
    assert seen_of("beam", [shot], [made.label(shot, "shows-beam", "unclear")]).seen == "poorly"
    assert seen_of("beam", [shot], [made.label(shot, "shows-beam")]).seen == "well"


@pytest.mark.parametrize("flag", ["blurred", "dark", "far"])
def test_a_photo_measured_as_no_good_shows_poorly(flag):
    photos, labels = shots("beam", [None], **{flag: True})
    row = seen_of("beam", photos, labels)
    assert row.seen == "poorly"
    assert flag in row.why


def test_a_person_may_settle_that_a_flagged_photo_shows_enough():
    from dataclasses import replace

    photos, labels = shots("beam", [None], blurred=True)
    evidence = made.deck(photos=photos, labels=labels)
    words = {key: replace(word, settled=True) for key, word in evidence.words.items()}
    rows = coverage(replace(evidence, words=words).visits())
    assert next(row for row in rows if row.element == "beam").seen == "well"


def test_people_who_disagree_whether_it_shows_make_poorly():
    shot = made.photo("a.jpg")
    labels = [made.label(shot, "shows-beam"), made.label(shot, "shows-beam", "absent", by="Ben")]
    assert seen_of("beam", [shot], labels).seen == "poorly"


def test_a_long_ledger_needs_its_ends_and_its_middle():
    known = {"ledger_length_ft": 14}
    for places, seen in (
        (["left end"], "poorly"),
        (["left end", "middle"], "poorly"),
        (["left end", "left end", "left end"], "poorly"),
        (["left end", "middle", "right end"], "well"),
        (["joist 1 of 11 from the left", "joist 6 of 11", "joist 1 of 11 from the right"], "well"),
    ):
        assert seen_of("ledger", *shots("ledger", places), known).seen == seen, places


def test_a_ledger_says_which_stretch_is_still_missing():
    row = seen_of("ledger", *shots("ledger", ["left end", "middle"]), {"ledger_length_ft": 14})
    assert (row.count, row.of) == (2, 3)
    assert row.why == "2 of 3 stretches of a 14 ft ledger; not yet: right end"


def test_a_very_long_ledger_needs_a_look_every_eight_feet():
    known = {"ledger_length_ft": 40}
    assert seen_of("ledger", *shots("ledger", [None] * 4), known).of == 5
    assert seen_of("ledger", *shots("ledger", [None] * 4), known).seen == "poorly"
    assert seen_of("ledger", *shots("ledger", [None] * 5), known).seen == "well"


def test_a_short_ledger_fits_one_photo_and_an_unmeasured_one_does_not():
    assert seen_of("ledger", *shots("ledger", [None]), {"ledger_length_ft": 6}).seen == "well"
    row = seen_of("ledger", *shots("ledger", [None]))
    assert row.seen == "poorly"
    assert "length is not known" in row.why
    assert seen_of("ledger", *shots("ledger", [None, None])).seen == "well"


def test_photos_of_one_burst_are_one_look():
    photos = [made.photo(f"{n}.jpg", burst=1) for n in range(3)]
    labels = [made.label(shot, "shows-ledger") for shot in photos]
    assert seen_of("ledger", photos, labels, {"ledger_length_ft": 14}).seen == "poorly"


def test_hangers_are_counted_where_a_count_was_written_down():
    photos = [made.photo("a.jpg"), made.photo("b.jpg")]
    labels = [made.label(photos[0], "shows-hanger", count=3), made.label(photos[1], "shows-hanger", count=4)]
    row = seen_of("hanger", photos, labels, {"joist_count": 14})
    assert (row.seen, row.count, row.of, row.why) == ("poorly", 7, 14, "7 of 14 hangers")
    assert seen_of("hanger", photos, labels, {"joist_count": 7}).seen == "well"


def test_hangers_at_one_place_are_not_counted_twice():
    photos = [made.photo("a.jpg"), made.photo("b.jpg")]
    labels = [made.label(shot, "shows-hanger", count=3, place="joists 1 to 3") for shot in photos]
    assert seen_of("hanger", photos, labels, {"joist_count": 6}).count == 3


def test_uncounted_hangers_are_taken_as_three_a_photo_and_it_says_so():
    row = seen_of("hanger", *shots("hanger", [None] * 3), {"joist_count": 10})
    assert (row.seen, row.count, row.of) == ("poorly", None, 10)
    assert row.why == "9 of 10 hangers, taking 3 for a photo where nobody counted"
    assert seen_of("hanger", *shots("hanger", [None] * 4), {"joist_count": 10}).seen == "well"


def test_joists_are_counted_from_width_and_spacing():
    known = {"deck_width_ft": 12.0, "joist_spacing_in": 16.0}
    assert seen_of("hanger", *shots("hanger", [None]), known).of == 10


def test_every_post_is_to_be_seen():
    photos, labels = shots("post", [None, None])
    assert seen_of("post", photos, labels, {"post_count": 3}).why == "2 of 3 posts"
    assert seen_of("post", photos, labels, {"post_count": 2}).seen == "well"
    whole = [made.label(photos[0], "shows-post", count=3)]
    assert seen_of("post", photos[:1], whole, {"post_count": 3}).seen == "well"


def test_defect_labels_and_suggestions_make_no_coverage():
    shot = made.photo("a.jpg")
    labels = [made.label(shot, tag) for tag in made.CORE]
    guesses = [made.guess(shot, f"shows-{need.element}", 0.99) for need in needs()]
    rows = coverage(made.deck(photos=[shot], labels=labels, guesses=guesses).visits())
    assert {row.seen for row in rows} == {"not-seen"}


def test_concealed_leads_to_opening_up_and_not_to_going_back():
    known = {"concealed": ["flashing"], "concealed_why": "behind the boards along the house"}
    rows = coverage(made.deck(known=known).visits())
    row = next(one for one in rows if one.element == "flashing")
    assert (row.seen, row.why) == ("concealed", "behind the boards along the house")
    assert open_up(rows) == ("Open up to see the flashing: behind the boards along the house.",)
    assert not any("first board and the wall" in one for one in go_back_for(rows))


def test_what_a_deck_needs_follows_from_its_facts():
    free = {need.element for need in needed({"attached": False, "has_beam": True})}
    assert not free & {"ledger", "flashing"}
    own_beam = {need.element for need in needed({"house_side_support": "own-beam"})}
    assert not own_beam & {"ledger", "flashing"}
    assert "hanger" not in {need.element for need in needed({"joist_bearing": "on-beam"})}
    stairs = {need.element for need in needed({"has_stairs": True})}
    assert {"stair", "stringer"} <= stairs
    low = {need.element for need in needed({"height_above_grade_ft": 2.5, "has_stairs": False})}
    assert not {"stair", "guard", "brace"} & low
    assert {"guard", "guard-post"} <= {need.element for need in needed({"height_above_grade_ft": 2.6})}
    nothing_known = {need.element for need in needed({})}
    assert {"ledger", "flashing", "hanger", "beam", "post", "guard", "stair", "brace"} <= nothing_known


def test_what_a_photo_shows_is_needed_whatever_a_fact_says():
    shot = made.photo("a.jpg")
    evidence = made.deck(
        photos=[shot], labels=[made.label(shot, "missing-hanger")], known={"joist_bearing": "on-beam"}
    )
    rows = coverage(evidence.visits(), element_of={"missing-hanger": "hanger"})
    assert next(row for row in rows if row.element == "hanger").seen == "not-seen"


def test_what_is_said_to_be_concealed_is_a_gap_even_where_photos_show_it():
    rows = _rows(concealed=["band", "beam"])
    seen = {row.element: row for row in rows}
    assert (seen["band"].seen, seen["beam"].seen, gaps(rows)) == ("concealed", "concealed", "serious")
    assert "the worse counts" in seen["beam"].why


def _rows(known=LOW, without=(), concealed=()):
    photos, labels = made.seen_photos(known)
    labels = [one for one in labels if one.tag.removeprefix("shows-") not in without]
    return coverage(
        made.deck(photos=photos, labels=labels, known={**known, "concealed": list(concealed)}).visits()
    )


def test_gaps():
    assert gaps(_rows()) == "none"
    for element in ("ledger", "flashing", "hanger", "beam", "post"):
        assert gaps(_rows(without=[element])) == "serious", element
    for element in ("joist", "footing", "whole-deck"):
        assert gaps(_rows(without=[element])) == "some", element
    assert gaps(_rows(without=["flashing"], concealed=["flashing"])) == "some"
    assert gaps(_rows(without=["ledger"], concealed=["ledger"])) == "serious"


def test_go_back_for_is_in_walking_order_and_in_words_for_the_person_on_site():
    asks = go_back_for(_rows(without=["ledger", "flashing", "beam"]))
    assert [ask.split(":")[0] for ask in asks] == [
        "On the deck, at the house wall",
        "Under the deck, facing the house",
        "Beam",
    ]
    poorly = go_back_for(
        coverage(made.deck(photos=(p := shots("beam", [None], dark=True))[0], labels=p[1]).visits())
    )
    assert any("(So far: the photos cannot be judged: dark.)" in ask for ask in poorly)


def test_what_was_seen_a_year_ago_counts_and_says_when_and_two_years_ago_it_does_not():
    photos, labels = shots("beam", [None])
    for visit, seen in (("2025-06-01", "well"), ("2024-06-01", "poorly")):
        before = made.deck(visit=visit, photos=photos, labels=labels)
        rows = coverage(made.deck(visit="2026-05-30", earlier=(before,)).visits())
        row = next(one for one in rows if one.element == "beam")
        assert row.seen == seen
        assert visit in row.why


RANK = {"well": 3, "poorly": 2, "concealed": 1, "not-seen": 0}
place = st.sampled_from(
    [None, "left end", "middle", "right end", "joist 2 of 9", "joist 8 of 9 from the right"]
)
look = st.tuples(
    st.sampled_from([need.element for need in needs()]),
    place,
    st.sampled_from([None, 1, 3, 8]),
    st.sampled_from([None, 1, 2]),
    st.sampled_from(["present", "present", "unclear", "absent"]),
    st.booleans(),
)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(look, min_size=1, max_size=12),
    st.sampled_from([None, 5.0, 14.0, 40.0]),
    st.sampled_from([None, 4, 9]),
    st.sampled_from([None, 3]),
    st.data(),
)
def test_removing_a_photo_never_improves_coverage(looks, length_ft, joists, posts, data):
    known = {"ledger_length_ft": length_ft, "joist_count": joists, "post_count": posts, "has_stairs": True}
    known = {key: value for key, value in known.items() if value is not None}
    photos, labels = [], []
    for number, (element, where, count, burst, value, dark) in enumerate(looks):
        photos.append(made.photo(f"{number}.jpg", burst=burst, dark=dark))
        labels.append(made.label(photos[-1], f"shows-{element}", value, place=where, count=count))
    left = data.draw(st.sets(st.integers(0, len(photos) - 1)))
    kept = [shot for number, shot in enumerate(photos) if number in left]
    full = coverage(made.deck(photos=photos, labels=labels, known=known).visits())
    less = coverage(made.deck(photos=kept, labels=labels, known=known).visits())
    for before, after in zip(full, less, strict=True):
        assert RANK[after.seen] <= RANK[before.seen], before.element


@pytest.mark.parametrize(
    ("words", "where"),
    [
        ("left end", {"left end"}),
        ("the middle, under the door", {"middle"}),
        ("Right", {"right end"}),
        ("joist 1 of 14 from the left, facing the house, house side", {"left end"}),
        ("joist 7 of 14 from the left", {"middle"}),
        ("joist 14 of 14", {"right end"}),
        ("joist 1 of 14 from the right", {"right end"}),
        ("left end to middle", {"left end", "middle"}),
        ("under the steps", set()),
        (None, set()),
    ],
)
def test_stretches_of_a_place(words, where):
    assert stretches(words) == where


def test_places_are_the_same_by_their_words():
    assert same_place("Joist 4 of 14,  house side", "joist 4 of 14 house side.")
    assert not same_place("joist 4", "joist 5")
    assert same_place(None, "")
