"""What is kept beside the log is what assessing everything again gives, whatever was said."""

import dataclasses

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select

from triage.assess import assess_library
from triage.assess.acts import set_tier
from triage.assess.cache import refresh
from triage.assess.cache.lines import last_standings, open_by_deck, standings
from triage.assess.cache.refresh import bring_up, kept_rho, out_of_date
from triage.assess.order import ORDERS, rank
from triage.assess.said import add_finding
from triage.assess.status import next_open_deck, open_questions, status_of
from triage.domain.reviewing import is_reviewed
from triage.domain.tiers import PILES
from triage.errors import Cancelled, NotWritten
from triage.ingest import ingest
from triage.library import Library, queries
from triage.library.counts import deck_counts, disputed_pairs, unreviewed_count
from triage.library.records import Suggestion
from triage.library.suggestions import keep_suggestions
from triage.library.tables import standing_summary

CORE = ("missing-hanger", "rusted-connector", "nail-only-ledger", "debris-at-flashing", "side-bolted-beam")
MODEL = "a" * 64
FIXTURE = [HealthCheck.function_scoped_fixture]
"""One library goes on from example to example: what is said here holds for any of them."""


def like(wanted):
    """Numbers within rounding: a score at rho is worked out from its ends here, at once there."""
    if isinstance(wanted, float):
        return pytest.approx(wanted, abs=2e-9)
    if isinstance(wanted, dict):
        return {key: like(value) for key, value in wanted.items()}
    return [like(one) for one in wanted] if isinstance(wanted, list) else wanted


def check(library):
    """Compare everything that is kept with everything made again."""
    kept, fresh = standings(library), assess_library(library)
    counts = deck_counts(library)
    assert list(kept.summaries()) == like([one.to_json() for one in fresh])
    assert [dataclasses.asdict(line) for line in kept.lines] == [
        {
            "deck": one.deck,
            "visit": one.visit,
            "tier": one.tier,
            "tier_if_true": one.tier_if_true,
            "tier_by_person": one.tier_by_person and dataclasses.asdict(one.tier_by_person),
            "gaps": one.gaps,
            "unreviewed": one.unreviewed,
            "reason": one.reason,
            "photos": counts.get(one.deck, (0, 0))[0],
            "labelled": counts.get(one.deck, (0, 0))[1],
            "best": next((c.photos[0] for c in one.concerns if c.is_open and c.photos), None),
            "best_tag": next((c.tag or "" for c in one.concerns if c.is_open and c.photos), ""),
        }
        for one in fresh
    ]
    assert open_questions(library) == sum(one.unreviewed for one in fresh)
    assert open_by_deck(library) == {one.deck: one.unreviewed for one in fresh}
    assert out_of_date(library) == []


def label(library, photo, tag="missing-hanger", value="present", by="ann"):
    library.say("label", {"photo": photo.sha, "tag": tag, "value": value}, by=by)


def suggest(library, photo, tag="missing-hanger", probability=0.4, pile="likely"):
    keep_suggestions(library, [Suggestion(photo.sha, tag, MODEL, 0.1, probability, pile)])


@pytest.fixture
def trained(library, monkeypatch):
    """The library with a model in use and its first suggestions; the promise is what its audits leave."""
    library.say("trained", {"model": MODEL, "tags": {}}, by="ann")

    def promise(lib):
        found = dict.fromkeys(CORE, "holds")
        for event in queries.statements(lib, "audited"):
            found[event.payload["tag"]] = "withdrawn"
        return found

    for where in ("triage.assess.evidence", "triage.assess.cache.refresh", "triage.assess.status"):
        monkeypatch.setattr(f"{where}.promise_words", promise)
    for photo in queries.photos(library):
        for tag in CORE:
            suggest(library, photo, tag, 0.1, "unlikely")
    return library


def placed(photo, deck):
    return {"sha": photo.sha, "deck": deck, "visit": None, "name": "x.jpg", "from": photo.deck}


def audited(library, _photo):
    library.say("audited", {"tag": "missing-hanger", "model": MODEL}, by="ann")


def trained_again(library, _photo):
    library.say("trained", {"model": "b" * 64, "tags": {}}, by="ann")


def settled(library, photo):
    library.say("settled", {"photo": photo.sha, "tag": "missing-hanger", "value": "absent"}, by="cy")


def fact(library, photo):
    said = {
        "deck": photo.deck,
        "visit": photo.visit,
        "key": "height_above_grade_ft",
        "value": 9.0,
        "photos": [],
    }
    library.say("fact", said, by="ann")


def own_rule(library, _photo):
    library.own_rules.write_text(
        """[[rule]]
id = "own-corner-hanger"
kind = "hazard"
element = "hanger"
tier = "repair-before-use"
concluded = "A hanger is missing."
why = "The joist's end hangs on nails."
repair = "Fit hangers."
verify_on_site = "Look at every joist's end."
call = "contractor"
source = "the firm's own rule"
when = { all = [ { tag = "missing-hanger" }, { tag = "side-bolted-beam" } ] }
"""
    )


def finding(library, photo):
    add_finding(
        library, photo.deck, by="ann", tier="repair-before-use", text="The guard moves.", how="probed"
    )


ACTS = {
    "a person's word": (1, label),
    "another person's word": (1, lambda lib, one: label(lib, one, value="absent", by="ben")),
    "cannot tell": (1, lambda lib, one: label(lib, one, "rusted-connector", "unclear")),
    "a word on a firm's own tag": (1, lambda lib, one: label(lib, one, "own-tag")),
    "a settled dispute": (1, settled),
    "a fact": (1, fact),
    "a finding": (1, finding),
    "a tier by a person": (
        1,
        lambda lib, one: set_tier(lib, one.deck, "stop-use", why="It leans.", by="ann"),
    ),
    "a photo of another deck": (2, lambda lib, one: lib.say("moved", placed(one, "D-99"), by="ann")),
    "a photo removed for good": (1, lambda lib, one: lib.say("forgotten", {"sha": one.sha}, by="ann")),
    "new suggestions": (1, lambda lib, one: suggest(lib, one, "side-bolted-beam", 0.9)),
    "an audit that contradicts": (2, audited),
    "another model": (2, trained_again),
    "rules of the firm": (2, own_rule),
    "the folds rebuilt": (2, lambda lib, _one: lib.rebuild()),
}
"""How many decks are out of date after each, and the act itself."""


@pytest.mark.parametrize("act", ACTS)
def test_after_an_act_only_the_decks_it_speaks_of_are_assessed_again(trained, act):
    check(trained)
    assert bring_up(trained) == 0
    decks, say = ACTS[act]
    say(trained, queries.photos(trained, "D-17")[1])
    assert len(out_of_date(trained)) == decks
    check(trained)
    if act in ("a person's word", "a fact", "a finding", "a tier by a person", "a photo of another deck"):
        trained.undo("ann")
        check(trained)


@settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    derandomize=True,
)
@given(
    steps=st.lists(
        st.tuples(st.sampled_from(sorted(set(ACTS) - {"a photo removed for good"})), st.integers(0, 5)),
        min_size=1,
        max_size=8,
    )
)
def test_what_is_kept_is_what_a_new_assessment_gives_after_any_acts(trained, steps):
    for act, number in steps:
        photos = queries.photos(trained)
        if photos:
            ACTS[act][1](trained, photos[number % len(photos)])
    check(trained)


def test_status_counts_decks_that_are_out_of_date_anew(trained):
    """Without writing anything: the questions open are right before and after the decks are assessed."""
    for step in range(3):
        label(trained, queries.photos(trained)[step], CORE[step], "unclear" if step else "absent")
        expected = sum(one.unreviewed for one in assess_library(trained))
        assert status_of(trained)["unreviewed"] == expected
        assert out_of_date(trained) != []
    bring_up(trained)
    assert status_of(trained)["unreviewed"] == expected


@settings(max_examples=15, deadline=None, suppress_health_check=FIXTURE)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 99),
            st.sampled_from(CORE),
            st.sampled_from(["present", "absent", "unclear", "settle", "likely", "unsure", "unlikely"]),
            st.sampled_from(["ann", "ben"]),
        ),
        min_size=1,
        max_size=6,
    )
)
def test_the_database_counts_open_questions_and_disputes_by_the_one_rule(trained, said):
    """What the queries of `counts` find is what `domain.reviewing` says of every photo and tag."""
    photos = queries.photos(trained)
    for number, tag, what, by in said:
        photo = photos[number % len(photos)]
        if what in PILES:
            suggest(trained, photo, tag, pile=what)
        elif what == "settle":
            trained.say("settled", {"photo": photo.sha, "tag": tag, "value": "absent"}, by="cy")
        else:
            label(trained, photo, tag, what, by)
    promise = {tag: "holds" for tag in CORE[:4]}
    words, guesses = queries.words(trained), queries.suggestions(trained)
    left = 0
    for photo in photos:
        for tag in CORE:
            word, guess = words.get((photo.sha, tag)), guesses.get((photo.sha, tag))
            left += not is_reviewed(word and word.value, guess and guess.pile, promise.get(tag))
    assert unreviewed_count(trained, CORE, promise, queries.decks(trained)) == left
    assert set(disputed_pairs(trained)) == {key for key, word in words.items() if word.disputed}


def test_the_next_deck_with_open_questions_is_known_before_anything_is_assessed(trained):
    """All pairs are in a pile under a promise, until the machine is unsure; 'cannot tell' is an answer."""
    label(trained, queries.photos(trained, "D-18")[1], value="unclear")
    assert next_open_deck(trained, "D-17") is None
    suggest(trained, queries.photos(trained, "D-18")[0], pile="unsure")
    for _ in range(2):
        assert next_open_deck(trained, "D-17") == "D-18"
        assert next_open_deck(trained, "D-18") is None
        bring_up(trained)


@pytest.mark.parametrize("news", ["a word", "the folds rebuilt"])
def test_a_word_that_comes_while_a_deck_is_assessed_leaves_it_out_of_date(library, monkeypatch, news):
    real, photo = refresh.gather_all, queries.photos(library, "D-17")[0]
    label(library, photo)  # the first word in a copied library begins a chain, which marks every deck

    def meanwhile(lib, decks, promise=None):
        found = real(lib, decks, promise=promise)
        with Library.open(library.path) as other:
            if news == "a word":
                label(other, photo)
            else:
                other.rebuild()
        return found

    with monkeypatch.context() as patch:
        patch.setattr(refresh, "gather_all", meanwhile)
        bring_up(library)
    assert out_of_date(library) == (["D-17"] if news == "a word" else ["D-17", "D-18"])
    check(library)


def test_a_clock_that_went_back_marks_one_deck_where_only_one_library_spoke(tmp_path, card, monkeypatch):
    with Library.create(tmp_path / "alone") as alone:
        ingest(alone, [card], by="ann", engine="here")
        bring_up(alone)
        monkeypatch.setattr("triage.library.log.now", lambda: "2020-01-01T00:00:00.000000+00:00")
        label(alone, queries.photos(alone, "D-17")[0])
        assert out_of_date(alone) == ["D-17"]


def test_what_was_assessed_before_a_stop_is_kept(library, monkeypatch):
    monkeypatch.setattr(refresh, "_LOT", 1)
    asked = iter([False, True])
    with pytest.raises(Cancelled):
        bring_up(library, cancel=lambda: next(asked))
    assert out_of_date(library) == ["D-18"]
    assert bring_up(library) == 1


def test_rho_is_fitted_over_all_decks_and_moves_no_row(tmp_path, photo_maker):
    with Library.create(tmp_path / "library") as library:
        for number in range(31):
            for side in "ab":
                photo_maker(
                    tmp_path / "card" / f"D-{number:02d}" / f"{side}.jpg",
                    seed=2 * number + (side == "b"),
                    size=(64, 48),
                )
        ingest(library, [tmp_path / "card"], by="ann", engine="here")
        library.say("trained", {"model": MODEL, "tags": {}}, by="ann")
        for number, photo in enumerate(queries.photos(library)):
            suggest(library, photo, probability=0.45)
            if number < 60:
                label(library, photo, value="present" if number % 4 < 2 else "absent")
        check_rho(library)
        before = rho_of(library)
        assert before != refresh.RHO
        label(library, queries.photos(library)[60], value="present")
        label(library, queries.photos(library)[61], value="present")
        assert out_of_date(library) == ["D-30"]
        check_rho(library)
        assert rho_of(library) != before


def rho_of(library):
    with library.read() as connection:
        return kept_rho(connection)


def check_rho(library):
    """Compare with a new assessment where no promise is asked for (there is no model's file)."""
    import triage.assess.evidence as evidence

    with pytest.MonkeyPatch.context() as patch:
        for module in (evidence, refresh):
            patch.setattr(module, "promise_words", lambda _lib: {})
        kept = standings(library)
        fresh = assess_library(library)
    assert list(kept.summaries()) == like([one.to_json() for one in fresh])
    for order in ORDERS:
        names = [line.deck for line in standings(library, order=order).lines]
        assert names == [one.deck for one in rank(fresh, order)]


def test_where_nothing_can_be_written_the_decks_are_assessed_in_memory(trained, monkeypatch):
    check(trained)
    label(trained, queries.photos(trained)[0], "ledger-gap")
    expected = [one.to_json() for one in assess_library(trained)]

    def refuse(_engine):
        raise NotWritten("read only")

    monkeypatch.setattr(refresh, "writing", refuse)
    kept = standings(trained)
    assert list(kept.summaries()) == expected
    assert [(line.deck, line.labelled) for line in kept.lines] == [
        (one["deck"], deck_counts(trained)[one["deck"]][1]) for one in expected
    ]
    assert len(out_of_date(trained)) == 1, "and the next one that can write does so"


def test_texts_that_were_deleted_are_not_kept_in_summaries(library):
    add_finding(library, "D-17", by="ann", tier="watch", text="A private sentence.", how="seen")
    bring_up(library)
    library.rebuild()
    with library.read() as connection:
        assert connection.execute(select(func.count()).select_from(standing_summary)).scalar() == 0
    assert last_standings(library).lines == []
