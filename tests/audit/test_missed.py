"""What the machine let through: fair draws, blind answers, verdicts by decks, withdrawals."""

from __future__ import annotations

import json

import numpy as np
import pytest
from small_libraries import add_labels, add_piles

from triage.audit import missed, of_library
from triage.audit.missed_tag import DrawnDeck, Missed, Promised, Question, audit_tag
from triage.errors import BadInput, WrongUsage
from triage.library import Library, queries
from triage.presort.withdrawals import lift_withdrawal, withdrawals

TAG = "rusted-connector"
CODES = {"p": 3, "a": 1, "u": 2, ".": 0}


def question(decks: list[tuple[str, str]], promised: float | None = None, frame: int = 1000) -> Question:
    """Decks as words of the pile and of the others: p present, a absent, u unclear, . none."""
    drawn = [
        DrawnDeck(
            f"d{number}",
            [f"{number}-{place}" for place in range(len(pile))],
            np.array([CODES[one] for one in pile], np.uint8),
            [f"{number}+{place}" for place in range(len(rest))],
            np.array([CODES[one] for one in rest], np.uint8),
        )
        for number, (pile, rest) in enumerate(decks)
    ]
    promise = None if promised is None else Promised(promised, True)
    return Question(TAG, "m", "1", drawn, 10_000, frame, 50, promise)


def no_nan(one: Missed) -> None:
    json.dumps(one.to_json(), allow_nan=False)
    json.dumps(one.payload(), allow_nan=False)


def test_all_decks_looked_at_are_known_exactly() -> None:
    one = audit_tag(question([("ppa", "p"), ("aaaaaaa", "ppp")], frame=2))
    assert (one.rate, one.low, one.high) == (0.2, 0.2, 0.2)
    assert one.missed_share == pytest.approx(2 / 6)
    assert one.loss == pytest.approx((2 / 3 + 0) / 2)
    assert (one.defects, one.found, one.positive_decks, one.drawn_decks) == (2, 4, 2, 2)
    assert one.complete
    no_nan(one)


def test_unanswered_photos_are_asked_for_and_no_rate_is_stated() -> None:
    one = audit_tag(question([("aa", "p"), (".a", "."), ("a", "")]))
    assert one.asked == ("1-0", "1+0")
    assert (one.rate, one.complete) == (None, False)
    assert "2 drawn photos in 1 deck still to be answered" in one.why_not
    no_nan(one)


def test_unclear_is_no_defect_for_one_bound_and_one_for_the_other() -> None:
    one = audit_tag(question([("uaaaa", "p"), ("aaaaa", "")], frame=2))
    assert (one.rate, one.low, one.high, one.unclear) == (0.0, 0.0, 0.1, 1)


def test_a_kept_and_a_broken_promise_are_shown_by_decks() -> None:
    kept = audit_tag(question([("aaa", "p")] * 80, promised=0.05))
    assert (kept.verdict, kept.contradicts) == ("within", False)
    broken = audit_tag(question([("pa", "p")] * 10 + [("aa", "p")] * 10, promised=0.05))
    assert (broken.verdict, broken.contradicts) == ("above", True)
    assert broken.loss_low > 0.05
    few = audit_tag(question([("a", "p")] * 5, promised=0.05))
    assert few.verdict is None
    assert any("too few to show" in why for why in few.why_not)


def test_many_photos_of_one_deck_show_nothing_about_other_decks() -> None:
    """Forty missed photos of one deck are one deck that lost."""
    one = audit_tag(question([("p" * 40, "p")] + [("aaa", "p")] * 19, promised=0.05))
    assert one.missed_share > 0.5
    assert one.verdict is None


def test_an_early_stop_asks_no_more() -> None:
    clean = audit_tag(question([("aa", "p")] * 75 + [("..", ".")] * 40, promised=0.05), early=True)
    assert (clean.verdict, clean.asked, clean.bounds) == ("within", (), "anytime")
    assert clean.complete
    on = audit_tag(question([("aa", "p")] * 5 + [("..", "p")] * 40, promised=0.05), early=True)
    assert on.verdict is None
    assert len(on.asked) == 80
    assert on.rate == 0.0


def test_an_empty_pile_and_no_defect_at_all() -> None:
    empty = audit_tag(question([("", "pa")]))
    assert empty.rate is None
    assert "empty" in empty.why_not[0]
    none = audit_tag(question([("aaa", "a")]))
    assert (none.rate, none.missed_share, none.loss) == (0.0, None, None)
    assert "no defect was found anywhere" in none.why_not[0]
    no_nan(empty)
    no_nan(none)


@pytest.fixture
def presorted(library: Library, with_photos, monkeypatch) -> list[str]:
    """Sixty photos of six decks, forty of them `unlikely`; the card promises 5 %."""
    monkeypatch.setattr(of_library, "_promises", lambda _: {TAG: Promised(0.05, True)})
    shas = with_photos(6, 10)
    piles = ["unlikely" if place % 10 < 7 else "likely" for place in range(len(shas))]
    add_piles(library, "m1", TAG, list(zip(shas, piles, strict=True)))
    return shas


def answer(library: Library, shas, value: str, by: str = "cid", **more: object) -> None:
    add_labels(library, [(sha, TAG, value, by) for sha in shas], asked_by="audit", **more)


def test_the_draw_is_on_record_before_the_first_answer(library: Library, presorted) -> None:
    first = missed(library, 14, seed="7", by="ann")[TAG]
    (event,) = library.events("audit-drawn")
    assert len(event.payload["decks"]) == first.drawn_decks == 2
    assert (event.payload["seed"], event.payload["frame_decks"], event.payload["number"]) == ("7", 6, 1)
    assert {"frame", "rule", "population", "n"} <= set(event.payload)
    assert len(first.asked) == 20  # whole decks
    assert list(library.events("audited")) == []
    assert missed(library, 14, seed="7", by="ann")[TAG] == first
    assert missed(library, by="ann")[TAG] == first  # without a seed the last draw goes on
    answer(library, first.asked, "absent")
    done = missed(library, 14, seed="7", by="ann")[TAG]
    assert (done.rate, done.asked, done.drawn) == (0.0, (), 14)
    assert missed(library, 14, seed="7", by="ann")[TAG] == done
    (event,) = library.events("audited")
    assert (event.by, event.payload["missed"], event.payload["contradicts"]) == ("ann", 0, False)


def test_labels_from_before_the_draw_are_no_evidence(library: Library, presorted) -> None:
    """What the machine learned from, and what its author says again, proves nothing."""
    add_labels(library, [(sha, TAG, "absent", "ann") for sha in presorted])
    first = missed(library, 14, seed="7", by="ann")[TAG]
    assert len(first.asked) == 14
    answer(library, first.asked, "absent", by="ann")
    assert len(missed(library, 14, seed="7", by="ann")[TAG].asked) == 14
    answer(library, first.asked, "absent", saw_machine=True)
    assert len(missed(library, 14, seed="7", by="ann")[TAG].asked) == 14
    answer(library, first.asked, "absent", by="dee")
    assert missed(library, 14, seed="7", by="ann")[TAG].complete


def test_another_spelling_of_a_name_is_no_second_person(library: Library, presorted) -> None:
    add_labels(library, [(sha, TAG, "absent", "Ann Lee") for sha in presorted])
    first = missed(library, 14, seed="7", by="ann")[TAG]
    answer(library, first.asked, "absent", by="ann  LEE")
    assert len(missed(library, 14, seed="7", by="ann")[TAG].asked) == 14


def test_what_a_copy_said_before_the_draw_is_no_evidence(
    library: Library, presorted, tmp_path, monkeypatch
) -> None:
    """The copy's chain is longer than this one at the draw, but its answers are older."""
    from triage.exchange import merge_libraries

    with Library.create(tmp_path / "copy") as copy:
        merge_libraries(copy, [library.path])
        for _ in range(5):
            answer(copy, presorted, "absent", by="ben")
        first = missed(library, 14, seed="7", by="ann")[TAG]
        merge_libraries(library, [copy.path])
        assert len(missed(library, 14, seed="7", by="ann")[TAG].asked) == 14
        answer(copy, first.asked, "absent", by="cid")
        merge_libraries(library, [copy.path])
    assert missed(library, 14, seed="7", by="ann")[TAG].complete


def test_an_old_file_is_no_evidence_and_the_sheet_of_the_audit_is(
    library: Library, presorted, tmp_path
) -> None:
    from triage.label.files import read_csv_rows
    from triage.label.rows import store_rows

    first = missed(library, 14, seed="7", by="ann")[TAG]
    for number, (at, asked_by, left) in enumerate(
        [("2020-01-01T00:00:00Z", "audit", 14), ("", "", 14), ("", "audit", 0)]
    ):
        rows = [f"{sha},{TAG},absent,p{number},{at},{asked_by}" for sha in first.asked]
        file = tmp_path / f"{number}.csv"
        file.write_text("\n".join(["photo,tag,value,by,at,asked_by", *rows]) + "\n")
        store_rows(library, *read_csv_rows(file), by="ann")
        assert len(missed(library, 14, seed="7", by="ann")[TAG].asked) == left


@pytest.mark.parametrize("act", ["rename", "move", "forget"])
def test_a_drawn_deck_does_not_slip_out_of_its_audit(library: Library, presorted, act: str) -> None:
    from triage.ingest.deck_acts import rename
    from triage.ingest.moving import forget, move

    first = missed(library, 14, seed="7", by="ann")[TAG]
    deck = next(iter(library.events("audit-drawn"))).payload["decks"][0]
    photos = queries.photos(library, deck)
    lost = photos[0].sha
    if act == "rename":
        rename(library, deck, "elsewhere", by="ann")
    elif act == "move":
        move(library, photos[:1], "elsewhere", by="ann")
    else:
        forget(library, photos[:1], by="ann")
    answer(library, [sha for sha in first.asked if sha != lost], "absent")
    found = missed(library, 14, seed="7", by="ann")[TAG]
    if act == "forget":  # it was not looked at: it may have shown the defect, or not
        assert (found.unclear, found.asked, found.drawn) == (1, (), 14)
        return
    assert found.asked == (lost,)
    answer(library, [lost], "present")
    done = missed(library, 14, seed="7", by="ann")[TAG]
    assert (done.defects, done.drawn) == (1, 14)


def test_decks_that_a_model_saw_are_never_drawn(library: Library, presorted) -> None:
    library.say("trained", {"model": "m1", "tags": {}, "decks": [f"d00{n}" for n in range(4)]}, by="ann")
    found = missed(library, by="ann", seed="7")[TAG]
    assert (found.frame_decks, found.population) == (2, 14)
    (event,) = library.events("audit-drawn")
    assert set(event.payload["decks"]) <= {"d004", "d005"}
    library.say("trained", {"model": "m1", "tags": {}, "decks": [f"d00{n}" for n in range(6)]}, by="ann")
    assert "empty" in missed(library, by="ann", seed="8")[TAG].why_not[0]


def test_a_second_draw_is_said(library: Library, presorted) -> None:
    missed(library, 7, seed="7", by="ann")
    second = missed(library, 7, seed="8", by="ann")[TAG]
    assert second.draws == 2
    assert any("draw 2" in why for why in second.why_not)


def test_a_withdrawal_lasts_until_the_next_model_passes_or_a_person_lifts_it(
    library: Library, presorted, monkeypatch
) -> None:
    monkeypatch.setattr(of_library, "_would_be", lambda _library, _tag, shas: dict.fromkeys(shas, "unlikely"))
    first = missed(library, seed="7", by="ann")[TAG]
    answer(library, first.asked, "present")
    found = missed(library, seed="7", by="ann")[TAG]
    assert found.contradicts
    assert "unlikely" not in {one.pile for one in queries.suggestions(library, tag=TAG).values()}
    assert set(withdrawals(library)) == {TAG}
    add_piles(library, "m2", TAG, [(sha, "unsure") for sha in presorted])  # a new model alone changes nothing
    library.say(
        "presorted", {"model": "m2", "standing": {TAG: {"standing": "holds", "why_not": None}}}, by="ann"
    )
    assert set(withdrawals(library)) == {TAG}
    library.say("audited", {"tag": TAG, "model": "m1", "seed": "x", "verdict": "within"}, by="ann")
    assert set(withdrawals(library)) == {TAG}, "the withdrawn model cannot bring it back"
    assert missed(library, seed="9", by="ann")[TAG].population == 60, "the next model can be audited"
    with pytest.raises(BadInput, match="needs a reason"):
        lift_withdrawal(library, TAG, why=" ", by="ann")
    with pytest.raises(BadInput, match="No audit has withdrawn"):
        lift_withdrawal(library, "missing-hanger", why="checked", by="ann")
    lift_withdrawal(library, TAG, why="the drawn decks were of another builder", by="ann")
    assert withdrawals(library) == {}
    (event,) = queries.statements(library, "withdrawal-lifted")
    assert event.payload["why"] == "the drawn decks were of another builder"


def test_the_next_model_that_passes_ends_a_withdrawal(library: Library, presorted) -> None:
    library.say("audited", {"tag": TAG, "model": "m1", "seed": "1", "contradicts": True}, by="ann")
    library.say("audited", {"tag": TAG, "model": "m2", "seed": "1", "verdict": None}, by="ann")
    assert set(withdrawals(library)) == {TAG}
    library.say("audited", {"tag": TAG, "model": "m2", "seed": "2", "verdict": "within"}, by="ann")
    assert withdrawals(library) == {}


def test_a_draw_needs_a_speaker(library: Library, presorted) -> None:
    with pytest.raises(WrongUsage, match="no name was given"):
        missed(library, 14, seed="7")
    assert len(missed(library, 14, seed="7", record=False)[TAG].asked) == 20
    assert list(library.events("audit-drawn")) == []


def test_no_model_no_pile_no_tag(library: Library, with_photos, presorted) -> None:
    with pytest.raises(BadInput, match="sorted no photo for 'debris'"):
        missed(library, 5, tags=["debris"])
    with pytest.raises(BadInput, match=r"a sample of 43 is larger than the 42"):
        missed(library, 43, by="ann")


def test_a_library_without_a_model(library: Library) -> None:
    with pytest.raises(BadInput, match="No model has been trained"):
        missed(library, 5)
    library.say("trained", {"model": "m", "tags": [TAG]}, by="ann")
    with pytest.raises(BadInput, match="sorted no photo yet"):
        missed(library, 5)
