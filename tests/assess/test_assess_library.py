"""A library's decks assessed: what concerns a visit, what was recorded by a time, the firm's own rules."""

import json
from datetime import UTC, datetime

import pytest

from triage.assess import assess_library, gather
from triage.assess.acts import close, set_tier
from triage.assess.compare import compare
from triage.assess.evidence import fitted_rho
from triage.assess.said import add_finding
from triage.domain.acts import Refused
from triage.errors import BadInput
from triage.ingest import ingest
from triage.library import queries
from triage.library.records import Suggestion

CORE = ("missing-hanger", "rusted-connector", "nail-only-ledger", "debris-at-flashing", "side-bolted-beam")


def tell(library, photo, tag, value="present", by="ann", place=None, at=None):
    library.say(
        "label",
        {"photo": photo.sha, "tag": tag, "value": value},
        by=by,
        at=at,
        private={"place": place} if place else None,
    )


def fact(library, deck, visit, **values):
    for key, value in values.items():
        library.say(
            "fact", {"deck": deck, "visit": visit, "key": key, "value": value, "photos": []}, by="ann"
        )


@pytest.fixture
def second_visit(library, tmp_path, photo_maker):
    """The library with a second visit of D-17, four months later."""
    for number in range(3):
        photo_maker(tmp_path / "again" / "D-17" / f"IMG_081{number}.jpg", seed=900 + number)
    ingest(library, [tmp_path / "again"], by="ben", visit="2026-09-01", engine="here")
    return library


def test_decks_come_worst_first(library):
    tell(library, queries.photos(library, "D-18")[0], "ledger-gap")
    assert [one.deck for one in assess_library(library)] == ["D-18", "D-17"]
    assert [one.deck for one in assess_library(library, ["D-17"])] == ["D-17"]
    assert assess_library(library)[0].visit == "2026-05-04"


def test_unreviewed_counts_photos_times_core_tags(library):
    assert assess_library(library, ["D-17"])[0].unreviewed == 3 * 5
    tell(library, queries.photos(library, "D-17")[0], "missing-hanger", "absent")
    tell(library, queries.photos(library, "D-17")[0], "rusted-connector", "unclear")
    assert assess_library(library, ["D-17"])[0].unreviewed == 3 * 5 - 2


def test_an_unknown_deck_is_refused(library):
    with pytest.raises(BadInput, match="no deck 'D-99'") as refused:
        assess_library(library, ["D-99"])
    assert "D-17" in refused.value.hint


def test_a_visit_takes_what_concerns_it_and_earlier_ones_whenever_recorded(second_visit):
    library = second_visit
    first, later = (
        queries.photos(library, "D-17", "2026-05-04"),
        queries.photos(library, "D-17", "2026-09-01"),
    )
    tell(library, later[0], "ledger-gap")
    tell(library, first[0], "missing-hanger")
    may = assess_library(library, ["D-17"], visit="2026-05-04")[0]
    september = assess_library(library, ["D-17"])[0]
    assert [(one.rule, one.status) for one in may.concerns] == [("missing-hanger", "new")]
    assert {(one.rule, one.status) for one in september.concerns} == {
        ("missing-hanger", "not-looked-at-again"),
        ("ledger-gap", "new"),
    }
    assert (may.visit, september.visit) == ("2026-05-04", "2026-09-01")
    assert (len(gather(library, "D-17").earlier), len(gather(library, "D-17").photos)) == (1, 3)


def test_facts_belong_to_their_visit(second_visit):
    fact(second_visit, "D-17", "2026-05-04", height_above_grade_ft=6.0, band_probe_depth_in=0.3)
    fact(second_visit, "D-17", "2026-09-01", band_probe_depth_in=0.0)
    may = gather(second_visit, "D-17", "2026-05-04").fact_values()
    september = gather(second_visit, "D-17").fact_values()
    assert may == {"height_above_grade_ft": 6.0, "band_probe_depth_in": 0.3}
    assert september == {"height_above_grade_ft": 6.0, "band_probe_depth_in": 0.0}


def test_decks_without_a_visit_by_then_are_left_out(second_visit):
    assert assess_library(second_visit, visit="2020-01-01") == []
    with pytest.raises(BadInput, match="no deck"):
        assess_library(second_visit, ["D-99"], visit="2026-05-04")


def test_as_of_takes_only_what_was_recorded_by_then(library):
    tell(library, queries.photos(library, "D-17")[0], "missing-hanger")
    then = datetime.now(UTC).isoformat()
    before = assess_library(library, ["D-17"])[0].to_json()
    tell(library, queries.photos(library, "D-17")[1], "ledger-gap")
    set_tier(library, "D-17", "stop-use", why="It moved.", by="ann")
    assert json.dumps(assess_library(library, ["D-17"], as_of=then)[0].to_json()) == json.dumps(before)
    assert assess_library(library, ["D-17"])[0].tier == "stop-use"  # nobody has written the height down
    with pytest.raises(BadInput, match="'soon' is not a time"):
        assess_library(library, as_of="soon")


def test_the_same_twice_is_the_same_bytes(library):
    tell(library, queries.photos(library, "D-18")[0], "ledger-gap")
    one = json.dumps([summary.to_json() for summary in assess_library(library)])
    assert json.dumps([summary.to_json() for summary in assess_library(library)]) == one


def test_the_firms_own_rules_and_tags_are_read(library):
    library.own_tags.write_text('[[tag]]\ntag = "own-tag"\nkind = "defect"\ndefinition = "It is seen."\n')
    library.forget_vocabulary()
    library.own_rules.write_text(
        '[[rule]]\nid = "own-rule"\nkind = "hazard"\nelement = "beam"\ntier = "stop-use"\n'
        'concluded = "Our own thing."\nwhy = "Because we saw it often."\nrepair = "Mend it well."\n'
        'verify_on_site = "Look once more."\ncall = "engineer"\nsource = "common practice"\n'
        'when = { tag = "own-tag" }\n'
    )
    tell(library, queries.photos(library, "D-17")[0], "own-tag")
    assert assess_library(library)[0].concerns[0].rule == "own-rule"
    library.own_rules.write_text(library.own_rules.read_text().replace('"own-tag"', '"own-tog"'))
    with pytest.raises(BadInput, match=r"rules\.toml, line 12: rule 'own-rule': unknown tag 'own-tog'"):
        assess_library(library)


def test_findings_and_a_persons_tier_are_read(library):
    add_finding(library, "D-17", tier="repair-before-use", text="It sways.", by="ann", how="probed")
    set_tier(library, "D-17", "stop-use", why="Seen it move.", by="ben")
    summary = assess_library(library, ["D-17"])[0]
    assert [(one.concluded, one.standing) for one in summary.concerns] == [("It sways.", "verified-on-site")]
    assert (summary.tier, summary.tier_by_person.tier) == ("repair-before-use", "stop-use")


def test_two_people_who_disagree_are_a_dispute(library):
    photo = queries.photos(library, "D-17")[0]
    tell(library, photo, "missing-hanger", "present", by="ann")
    tell(library, photo, "missing-hanger", "absent", by="ben")
    assert assess_library(library, ["D-17"])[0].concerns[0].standing == "disputed"


def closing(before, after, **changed):
    words = {"place": "joist 4 of 9", "before": before, "after": after, "why": "set", "by": "cara"}
    return words | changed


def looked_at(library, photo, place="joist 4 of 9"):
    tell(library, photo, "missing-hanger", place=place, value="absent")
    tell(library, photo, "shows-hanger", place=place)


def test_closing_and_comparing(second_visit):
    library = second_visit
    before, after = (
        queries.photos(library, "D-17", "2026-05-04")[0],
        queries.photos(library, "D-17", "2026-09-01"),
    )
    tell(library, before, "missing-hanger", place="joist 4 of 9")
    with pytest.raises(Refused, match="no open concern 'hanger'") as refused:
        close(library, "D-17", "hanger", **closing(before, after[0]))
    assert refused.value.condition == "open-concern"
    looked_at(library, after[1], "joist 5 of 9")
    with pytest.raises(Refused, match="joist 5 of 9") as refused:
        close(library, "D-17", "missing-hanger", **closing(before, after[1]))
    assert (refused.value.condition, refused.value.photo) == ("same-place", after[1].path_name)
    assert queries.closings(library, "D-17") == []
    looked_at(library, after[0])
    row = close(library, "D-17", "missing-hanger", **closing(before, after[0]))
    assert row == {"rule": "missing-hanger", "status": "repaired", "closed": 1, "remaining": []}
    assert [one.status for one in assess_library(library, ["D-17"])[0].concerns] == ["repaired"]
    assert [one.status for one in assess_library(library, ["D-17"], visit="2026-05-04")[0].concerns] == [
        "new"
    ]
    row = compare(library, "D-17").to_json()
    assert row["visits"] == ["2026-05-04", "2026-09-01"]
    assert [(one["rule"], one["place"], one["status"]) for one in row["concerns"]] == [
        ("missing-hanger", "joist 4 of 9", "repaired")
    ]


def test_undoing_a_closing_opens_the_concern_again(second_visit):
    library = second_visit
    before, after = (
        queries.photos(library, "D-17", "2026-05-04")[0],
        queries.photos(library, "D-17", "2026-09-01")[0],
    )
    tell(library, before, "missing-hanger", place="joist 4 of 9")
    looked_at(library, after)
    close(library, "D-17", "missing-hanger", **closing(before, after))
    library.undo("cara")
    assert [one.status for one in assess_library(library, ["D-17"])[0].concerns] == ["looked-at-again"]


def test_comparing_needs_two_visits_that_exist(library, second_visit):
    with pytest.raises(BadInput, match="only one visit"):
        compare(library, "D-18")
    with pytest.raises(BadInput, match="no visit 2026-07-01"):
        compare(library, "D-17", "2026-05-04", "2026-07-01")
    with pytest.raises(BadInput, match="Both visits are the same"):
        compare(library, "D-17", "2026-05-04", "2026-05-04")
    with pytest.raises(BadInput, match="no deck"):
        compare(library, "D-99")


def test_photos_without_a_date_belong_to_the_visit_that_facts_name(tmp_path, photo_maker):
    from triage.library import Library

    for number in range(2):
        photo_maker(tmp_path / "card" / "D-1" / f"{number}.jpg", seed=number, size=(640, 480))
    with Library.create(tmp_path / "lib") as library:
        ingest(library, [tmp_path / "card"], by="ann", engine="here")
        fact(library, "D-1", "2026-05-04", ledger_length_ft=5.0)
        tell(library, queries.photos(library, "D-1")[0], "shows-ledger")
        assert not any(queries.photos(library, "D-1")[0].quality[flag] for flag in ("blurred", "dark", "far"))
        summary = assess_library(library)[0]
    ledger = next(one for one in summary.coverage if one.element == "ledger")
    assert (summary.visit, ledger.seen) == ("2026-05-04", "well")


def test_rho_is_fitted_from_thirty_answered_decks(tmp_path):
    import random

    import deck_builder as made

    draw = random.Random(3)
    decks = []
    for number in range(400):
        photos = [made.photo(f"{n}.jpg", deck=str(number)) for n in range(6)]
        there = draw.random() < 0.6
        labels = [
            made.label(one, "missing-hanger", "present" if there and one is photos[0] else "absent")
            for one in photos
        ]
        guesses = [Suggestion(one.sha, "missing-hanger", "m", 0.14, 0.14, "unsure") for one in photos]
        decks.append(made.deck(str(number), photos=photos, labels=labels, guesses=guesses))
    assert fitted_rho(decks, ["missing-hanger"]) == pytest.approx(0.0, abs=0.15)  # 1 - 0.86^6 = 0.6
    assert fitted_rho(decks[:29], ["missing-hanger"]) == 0.5
