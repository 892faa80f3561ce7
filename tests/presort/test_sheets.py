"""Contact sheets of proposals: what one act may answer, what it never may, and what comes back blind."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from triage.domain.seeing import DEFECT_PX, PART_PX
from triage.errors import BadInput
from triage.label import sheet_checks
from triage.label.deck_order import open_in_deck
from triage.label.hanging import hangs_on
from triage.label.order import questions
from triage.label.rows import give_labels
from triage.library import queries
from triage.library.records import SHEET, Suggestion
from triage.library.suggestions import keep_suggestions
from triage.presort import of_library, sheets
from triage.presort.piles import Standing
from triage.presort.sheets import confirm, sheet_of

LEDGER, NAILS = "shows-ledger", "nail-only-ledger"


def propose(library, tag, chances, piles=()):
    """Let a model have said something about the photos of D-17."""
    if queries.model_in_use(library) is None:
        library.say("trained", {"model": "m"}, by="ann")
    photos = queries.photos(library, "D-17")
    piles = piles or ["unsure"] * len(photos)
    rows = zip(photos, chances, piles, strict=False)
    keep_suggestions(library, [Suggestion(photo.sha, tag, "m", 0.0, p, pile) for photo, p, pile in rows])
    return [photo.sha for photo in photos]


def large(sheet, px=2_000):
    return {photo.sha: px for photo in sheet.photos}


@pytest.fixture
def promised(monkeypatch):
    """Let the promise of every defect hold, or not."""

    def hold(holds):
        standing = {NAILS: Standing("holds" if holds else "too-few")}
        monkeypatch.setattr(of_library, "promise_standing", lambda library, *_: standing)

    return hold


def test_one_act_answers_yes_and_no_and_leaves_what_is_in_doubt_open(library):
    yes, doubtful, no = propose(library, LEDGER, [0.9, 0.3, 0.02])
    sheet = sheet_of(library, ["D-17"], LEDGER)
    assert sheet.proposed() == {yes: "present", no: "absent"}
    given_ = confirm(library, sheet, by="ann", seen=large(sheet))
    assert {(one.photo, one.value, one.asked_by, one.saw_machine) for one in given_} == {
        (yes, "present", SHEET, True),
        (no, "absent", SHEET, True),
    }
    assert [photo.sha for photo in sheet_of(library, ["D-17"], LEDGER).photos] == [doubtful]
    library.undo("ann")
    assert queries.labels(library) == []


def test_a_click_is_an_exception_and_answers_what_is_in_doubt(library):
    yes, doubtful, no = propose(library, LEDGER, [0.9, 0.3, 0.02])
    sheet = sheet_of(library, ["D-17"], LEDGER)
    confirm(library, sheet, by="ann", seen=large(sheet), clicked={no: "present", doubtful: "unclear"})
    said = {label.photo: label.value for label in queries.labels(library)}
    assert said == {yes: "present", no: "present", doubtful: "unclear"}


def test_a_photo_that_was_not_shown_or_too_small_is_not_answered(library):
    yes, _, no = propose(library, LEDGER, [0.9, 0.3, 0.02])
    sheet = sheet_of(library, ["D-17"], LEDGER)
    with pytest.raises(BadInput, match="not shown large enough"):
        confirm(library, sheet, by="ann", seen=large(sheet, PART_PX - 1))
    with pytest.raises(BadInput, match="No photo of this sheet was looked at"):
        confirm(library, sheet, by="ann", seen={})
    with pytest.raises(BadInput, match="not shown large enough"):
        confirm(library, sheet, by="ann", seen={yes: PART_PX}, clicked={no: "present"})
    assert queries.labels(library) == []
    confirm(library, sheet, by="ann", seen={yes: PART_PX})
    assert [label.photo for label in queries.labels(library)] == [yes]


def test_a_defect_is_confirmed_absent_only_while_its_promise_holds(library, promised):
    shas = propose(library, NAILS, [0.01, 0.02, 0.9], ["unlikely", "unsure", "likely"])
    promised(False)
    sheet = sheet_of(library, ["D-17"], NAILS)
    assert sheet.proposed() == {}
    with pytest.raises(BadInput, match="No promise holds"):
        confirm(library, sheet, by="ann", seen=large(sheet), clicked={shas[0]: "absent"})
    promised(True)
    sheet = sheet_of(library, ["D-17"], NAILS)
    assert sheet.proposed() == {shas[0]: "absent"}
    with pytest.raises(BadInput, match="on the photo itself"):
        confirm(library, sheet, by="ann", seen=large(sheet), clicked={shas[2]: "present"})
    small = {sha: min(DEFECT_PX, max(p.width, p.height)) - 1 for p in sheet.photos for sha in [p.sha]}
    with pytest.raises(BadInput, match="large enough"):
        confirm(library, sheet, by="ann", seen=small)
    confirm(library, sheet, by="ann", seen=large(sheet), clicked={shas[2]: "present"}, opened=[shas[2]])
    said = {one.photo: one.value for one in queries.labels(library)}
    assert said == {shas[0]: "absent", shas[2]: "present"}


def test_nothing_about_a_defect_follows_from_a_sheet(library):
    propose(library, LEDGER, [0.01, 0.01, 0.01])
    sheet = sheet_of(library, ["D-17"], LEDGER)
    confirm(library, sheet, by="ann", seen=large(sheet))
    words = queries.words(library, "D-17")
    tag = library.vocabulary().tags[NAILS]
    for photo in queries.photos(library, "D-17"):
        assert (photo.sha, NAILS) not in words
        assert not hangs_on({LEDGER: words[photo.sha, LEDGER]}, tag)
    give_labels(library, [(queries.photos(library, "D-17")[0], {LEDGER: "absent"})], by="ben")
    word = queries.words(library, "D-17")[queries.photos(library, "D-17")[0].sha, LEDGER]
    assert hangs_on({LEDGER: word}, tag), "somebody looked at that photo for it"


def test_a_sheet_never_replaces_what_somebody_said(library):
    yes, _, no = propose(library, LEDGER, [0.9, 0.9, 0.02])
    stale = sheet_of(library, ["D-17"], LEDGER)
    give_labels(library, [(queries.find_photo(library, no), {LEDGER: "present"})], by="ben")
    assert no not in {photo.sha for photo in sheet_of(library, ["D-17"], LEDGER).photos}
    with pytest.raises(BadInput, match="changed meanwhile"):
        confirm(library, stale, by="ann", seen=large(stale))
    assert yes in {photo.sha for photo in stale.photos}


def broken_laws(answers, groups, seen, opened, tag, promised_):
    """Return the answers of a sheet that break a law, as (photo, value)."""
    least = PART_PX if tag == LEDGER else DEFECT_PX
    found = []
    for sha, value in answers.items():
        looked_at = sha in opened
        ok = looked_at or seen.get(sha, 0) >= least
        if tag == NAILS:
            ok = ok and (value != "present" or looked_at)
            ok = ok and (value != "absent" or looked_at or (promised_ and groups[sha] == "unlikely"))
        if not ok:
            found.append((sha, value))
    return found


CASE = st.fixed_dictionaries(
    {
        "tag": st.sampled_from([LEDGER, NAILS]),
        "promised": st.booleans(),
        "chances": st.lists(st.floats(0, 1, width=16), min_size=3, max_size=3),
        "piles": st.lists(st.sampled_from(["likely", "unsure", "unlikely"]), min_size=3, max_size=3),
        "px": st.lists(st.sampled_from([None, 0, PART_PX, DEFECT_PX]), min_size=3, max_size=3),
        "clicks": st.lists(st.sampled_from([None, "present", "absent", "unclear"]), min_size=3, max_size=3),
        "opened": st.lists(st.booleans(), min_size=3, max_size=3),
    }
)


def play(library, case, monkeypatch):
    """Confirm one random sheet and take it back; return what broke a law."""
    shas = propose(library, case["tag"], case["chances"], case["piles"])
    standing = {NAILS: Standing("holds" if case["promised"] else "too-few")}
    monkeypatch.setattr(of_library, "promise_standing", lambda library, *_: standing)
    sheet = sheet_of(library, ["D-17"], case["tag"])
    seen = {sha: px for sha, px in zip(shas, case["px"], strict=True) if px is not None}
    clicks = {sha: value for sha, value in zip(shas, case["clicks"], strict=True) if value is not None}
    opened = [sha for sha, yes in zip(shas, case["opened"], strict=True) if yes]
    try:
        confirm(library, sheet, by="ann", seen=seen, clicked=clicks, opened=opened)
    except BadInput:
        assert queries.labels(library) == []
        return []
    answers = {label.photo: label.value for label in queries.labels(library)}
    library.undo("ann")
    return broken_laws(
        answers, dict(zip(shas, case["piles"], strict=True)), seen, opened, case["tag"], case["promised"]
    )


FIXED = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@FIXED
@given(case=CASE)
def test_no_act_on_a_sheet_answers_what_it_may_not(library, monkeypatch, case):
    assert play(library, case, monkeypatch) == []


def test_a_sheet_that_confirms_blindly_breaks_the_laws(library, monkeypatch):
    """A deliberately broken variant: the same check finds it."""
    monkeypatch.setattr(sheets, "_refuse", lambda *_: None)
    case = {
        "tag": NAILS,
        "promised": False,
        "chances": [0.1, 0.1, 0.1],
        "piles": ["unsure"] * 3,
        "px": [0, 0, 0],
        "clicks": ["absent", "present", None],
        "opened": [False] * 3,
    }
    assert len(play(library, case, monkeypatch)) == 2


def test_one_in_twenty_comes_back_blind_and_is_counted(library, monkeypatch):
    monkeypatch.setattr(sheet_checks, "ONE_IN", 1)
    shas = propose(library, LEDGER, [0.01, 0.01, 0.9])
    sheet = sheet_of(library, ["D-17"], LEDGER)
    confirm(library, sheet, by="ann", seen=large(sheet))
    assert sorted(sheet_checks.due(library)) == sorted((sha, LEDGER) for sha in shas[:2])
    asked = [photo.sha for photo, tag in open_in_deck(library, "D-17", "ann", [LEDGER])]
    assert sorted(asked) == sorted(shas[:2])
    give_labels(
        library, [(queries.find_photo(library, shas[0]), {LEDGER: "present"})], by="ann", asked_by="deck"
    )
    (count,) = sheet_checks.sheet_checks(library)
    assert (count.confirmed, count.drawn, count.looked, count.wrong) == (2, 2, 1, 1)
    assert sheet_checks.due(library) == [(shas[1], LEDGER)]
    give_labels(
        library, [(queries.find_photo(library, shas[1]), {LEDGER: "absent"})], by="ben", saw_machine=True
    )
    assert sheet_checks.due(library) == [(shas[1], LEDGER)], (
        "an answer beside the machine's word is not blind"
    )


def test_about_one_in_twenty_is_drawn_and_always_the_same():
    drawn = [number for number in range(20_000) if sheet_checks.is_drawn(LEDGER, f"{number:064x}")]
    assert 800 < len(drawn) < 1_200
    assert sheet_checks.is_drawn(LEDGER, f"{drawn[0]:064x}")


def test_the_parts_of_a_deck_are_asked_with_what_hangs_on_them(library):
    asked = questions(library, by="ann", deck="D-17", parts_of=lambda deck: [LEDGER])
    first = [one.tag for one in asked if one.photo == asked[0].photo]
    assert first.index(LEDGER) == first.index(NAILS) - 1
