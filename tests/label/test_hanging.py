"""What an answer about a part answers with it, and what happens when the part shows after all."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from triage.errors import BadInput
from triage.label.deck_order import open_in_deck
from triage.label.order import questions
from triage.label.rows import by_part, give_labels
from triage.library import queries
from triage.library.derived import derived_of
from triage.terminal.session import Session

LEDGER, NAILS, HANGER = "shows-ledger", "nail-only-ledger", "shows-hanger"


def session(library, deck="D-17", by="ann"):
    parts = lambda name: [LEDGER, HANGER]  # noqa: E731
    return Session(library, by, questions(library, by=by, deck=deck, parts_of=parts))


def values(library, sha):
    return {tag: word.value for (photo, tag), word in queries.words(library).items() if photo == sha}


def test_no_ledger_answers_no_nail_only_ledger_in_one_act_and_says_that_it_follows(library):
    run = session(library)
    photo = run.question.photo
    assert run.question.tag == LEDGER
    assert run.answered_with_part() == [NAILS]
    assert run.answer("absent") == [NAILS]
    assert values(library, photo.sha) == {LEDGER: "absent", NAILS: "absent"}
    (label,) = [one for one in queries.labels(library) if one.tag == NAILS]
    assert derived_of(library) == {label.event: LEDGER}
    assert label.note == "By the part: the photo does not show the ledger."
    assert (photo.sha, NAILS) in run.derived
    assert run.question.tag != NAILS
    assert run.undo() == 2
    assert queries.labels(library) == []


def test_what_somebody_said_of_the_defect_is_never_answered_along(library):
    photo = queries.photos(library, "D-17")[0]
    give_labels(library, [(photo, {NAILS: "present"})], by="ben")
    run = session(library)
    run.jump("D-17")
    while run.question.photo != photo:
        run.step(1)
    assert run.answered_with_part() == []
    run.answer("absent")
    assert values(library, photo.sha)[NAILS] == "present"


def test_present_here_and_none_of_the_rest_is_one_act(library):
    run = session(library)
    photo, asked = run.question.photo, len(run.open_tags())
    run.boxes = [(0.1, 0.1, 0.2, 0.2)]
    run.place, run.count = "left end", 2
    assert run.only_here() == (LEDGER, asked - 1)
    said = values(library, photo.sha)
    assert said.pop(LEDGER) == "present"
    assert set(said.values()) == {"absent"}
    (label,) = [one for one in queries.labels(library) if one.tag == LEDGER]
    assert (label.place, label.count, len(label.boxes)) == ("left end", 2, 1)
    run.undo()
    assert queries.labels(library) == []


def test_a_number_answers_that_open_tag_and_none_of_the_rest(library):
    run = session(library)
    photo, tags = run.question.photo, run.open_tags()
    wanted = tags.index(NAILS) + 1
    assert wanted > 1
    assert run.only_here(wanted) == (NAILS, len(tags) - 1)
    said = values(library, photo.sha)
    assert said.pop(NAILS) == "present"
    assert set(said.values()) == {"absent"}
    assert run.undo() == len(tags)
    run.only_here(wanted, "unclear")
    assert values(library, photo.sha)[NAILS] == "unclear"
    run.undo()
    for number in (0, len(tags) + 1):
        with pytest.raises(BadInput, match="no open question number"):
            run.only_here(number)
    assert queries.labels(library) == []


@pytest.mark.parametrize(
    "act",
    [lambda run: run.answer("absent"), lambda run: run.none_of_the_rest(), lambda run: run.only_here(2)],
)
def test_a_mark_is_not_lost_by_another_answer(library, act):
    run = session(library)
    run.place = "left end"
    with pytest.raises(Exception, match="goes with 'present'"):
        act(run)
    assert queries.labels(library) == []
    assert run.place == "left end"


def test_a_part_that_shows_after_all_opens_what_followed_from_it(library):
    photo = queries.photos(library, "D-17")[0]
    tag = library.vocabulary().tags[NAILS]
    give_labels(
        library,
        [(photo, {LEDGER: "absent", NAILS: "absent"})],
        by="ann",
        where_of={(photo.sha, NAILS): by_part(tag)},
    )
    assert (photo, NAILS) not in open_in_deck(library, "D-17", "ann", [LEDGER, NAILS])
    give_labels(library, [(photo, {LEDGER: "present"})], by="ann")
    assert values(library, photo.sha) == {LEDGER: "present", NAILS: "unclear"}
    assert (photo, NAILS) in open_in_deck(library, "D-17", "ann", [LEDGER, NAILS])
    library.undo("ann")
    assert values(library, photo.sha) == {LEDGER: "absent", NAILS: "absent"}


ACT = st.tuples(
    st.sampled_from(["ann", "ben"]),
    st.sampled_from(["part", "defect"]),
    st.sampled_from(["present", "absent", "unclear"]),
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(acts=st.lists(ACT, max_size=8))
def test_a_derived_no_never_stands_alone_beside_a_part_that_shows(library, acts):
    """Whatever is said in whatever order: where the part shows, no derived 'no' clears the defect."""
    photo = queries.photos(library, "D-17")[0]
    for by, what, value in acts:
        if what == "defect":
            give_labels(library, [(photo, {NAILS: value})], by=by)
            continue
        run = Session(library, by, [])
        del run
        words = values(library, photo.sha)
        answers, where = {LEDGER: value}, {}
        if value == "absent" and NAILS not in words:
            answers[NAILS] = "absent"
            where[photo.sha, NAILS] = by_part(library.vocabulary().tags[NAILS])
        give_labels(library, [(photo, answers)], by=by, where_of=where)
        derived = derived_of(library)
        own = [one for one in queries.labels(library) if one.tag == NAILS and one.event not in derived]
        if value != "absent" and not own and NAILS in values(library, photo.sha):
            assert values(library, photo.sha)[NAILS] == "unclear"
    for _ in acts:
        for by in ("ann", "ben"):
            try:
                library.undo(by)
            except Exception:  # noqa: BLE001, S112 - nothing left to take back
                continue
