"""No act makes a deck look better without evidence that was looked at: the table, acts, random histories."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator

import pytest

from triage.assess import acts, assess_library, visits
from triage.assess.acts import close, lift, set_tier
from triage.assess.said import add_finding, warn
from triage.domain.acts import FIRM_FILE, Refused, conditions
from triage.errors import BadInput
from triage.ingest import ingest
from triage.ingest.deck_acts import rename, split_off
from triage.ingest.moving import forget, move
from triage.label.rows import give_labels, settle
from triage.library import Library, queries
from triage.library.records import Photo

MAY, JULY, AUTUMN = "2026-05-04", "2026-07-01", "2026-09-01"
TAGS = {"nail-only-ledger": "ledger", "missing-hanger": "hanger"}
DECK = "D-1"


@pytest.fixture
def lib(tmp_path, photo_maker) -> Iterator[Library]:
    """One deck, walked three times, with two photos of each walk; and a photo of another deck."""
    with Library.create(tmp_path / "library") as library:
        for number, visit in enumerate((MAY, JULY, AUTUMN)):
            for side in range(2):
                path = tmp_path / visit / DECK / f"{visit}-{side}.jpg"
                photo_maker(path, seed=10 * number + side, size=(64, 48))
            ingest(library, [tmp_path / visit], by="ann", visit=visit, engine="here")
        photo_maker(tmp_path / "other" / "D-2" / "x.jpg", seed=99, size=(64, 48))
        ingest(library, [tmp_path / "other"], by="ann", visit=AUTUMN, engine="here")
        yield library


def photos(library: Library, visit: str) -> list[Photo]:
    return queries.photos(library, DECK, visit)


def say(library, photo, tag="nail-only-ledger", value="present", by="ann", place=None):
    give_labels(library, [(photo, {tag: value})], by=by, place=place)


def looked_at(library, photo, tag="nail-only-ledger", by="ann", place=None):
    say(library, photo, tag, "absent", by, place)
    say(library, photo, f"shows-{TAGS[tag]}", "present", by, place)


def shut(library, before, after, **more):
    words = {"place": "left end", "why": "bolted", "by": "cara", "same_place": True} | more
    return close(library, DECK, open_rule(library), before=before, after=after, **words)


def summary(library):
    return assess_library(library, [DECK])[0]


def open_rule(library):
    return next(one.rule for one in summary(library).concerns if one.is_open)


def refused(act) -> Refused:
    with pytest.raises(Refused) as found:
        act()
    return found.value


# ---- the table -------------------------------------------------------------------------------------------


def test_every_condition_of_the_table_is_enforced_somewhere_and_no_other():
    """A row that no code names would be a promise that nobody keeps."""
    import inspect

    from triage.label import rows
    from triage.report import ready

    source = "".join(inspect.getsource(module) for module in (acts, visits, rows, ready))
    named = set(re.findall(r'"([a-z]+(?:-[a-z]+)+|clock|ready)"', source))
    missing = {one.condition for one in conditions()} - named
    assert missing == set()


# ---- closing ---------------------------------------------------------------------------------------------


def test_each_condition_of_a_closing_is_asked_for_in_turn(lib):
    before, same_walk = photos(lib, MAY)
    after = photos(lib, AUTUMN)[0]
    say(lib, before)
    assert refused(lambda: shut(lib, before, same_walk)).condition == "later-visit"
    one = refused(lambda: shut(lib, before, after))
    assert (one.condition, one.photo, one.exit_code) == ("part-seen", after.path_name, 2)
    assert f"label set {after.path_name} shows-ledger=present" in one.mend
    say(lib, after, "shows-ledger")
    assert refused(lambda: shut(lib, before, after)).condition == "defect-absent"
    say(lib, after, value="unclear")
    assert refused(lambda: shut(lib, before, after)).condition == "defect-absent"
    say(lib, after, value="absent")
    assert refused(lambda: shut(lib, before, after, same_place=False)).condition == "same-place"
    say(lib, after, value="present", by="ben")
    assert refused(lambda: shut(lib, before, after)).condition == "defect-absent"
    settle(lib, after, "nail-only-ledger", "absent", why="bolts", by="cy")
    assert shut(lib, before, after)["status"] == "repaired"
    assert [one.status for one in summary(lib).concerns] == ["repaired"]


def test_a_rule_that_the_deck_never_had_is_not_closed_and_never_listed(lib):
    before, after = photos(lib, MAY)[0], photos(lib, AUTUMN)[0]
    say(lib, before)
    looked_at(lib, after)
    for rule in ("rusted-connector", "no-such-rule"):
        act = lambda rule=rule: close(  # noqa: E731
            lib, DECK, rule, place="x", before=before, after=after, why="y", by="cy", same_place=True
        )
        assert refused(act).condition in ("open-concern", "part-seen")
    payload = {"deck": DECK, "rule": "rusted-connector", "before": before.sha, "after": after.sha}
    lib.say("closed", payload | {"visit": AUTUMN, "same_place": True}, by="x", private={"place": "x"})
    assert {one.rule for one in summary(lib).concerns} == {open_rule(lib)}


def test_closing_one_of_three_photos_says_what_stays_open(lib):
    first, second = photos(lib, MAY)
    third, after = photos(lib, JULY)[0], photos(lib, AUTUMN)[0]
    for one in (first, second, third):
        say(lib, one)
    looked_at(lib, after)
    row = shut(lib, first, after)
    assert row["status"] == "partly-repaired"
    assert {one["photo"] for one in row["remaining"]} == {second.sha, third.sha}
    row = shut(lib, [second, third], after)
    assert (row["status"], row["closed"], row["remaining"]) == ("repaired", 2, [])
    lib.undo("cara")
    assert summary(lib).concerns[0].is_open, "both photos of one act came back"


def test_a_second_person_is_asked_where_the_firm_wants_one(lib):
    before, after = photos(lib, MAY)[0], photos(lib, AUTUMN)[0]
    say(lib, before)
    looked_at(lib, after, by="cara")
    (lib.path / FIRM_FILE).write_text('second_person = ["close"]\n')
    assert refused(lambda: shut(lib, before, after)).condition == "second-person"
    say(lib, after, value="absent", by="ben")
    assert shut(lib, before, after)["status"] == "repaired"


@pytest.mark.parametrize("what", ["moved", "forgotten", "answered", "part hidden"])
def test_a_closing_falls_when_its_after_photo_no_longer_bears_it(lib, what):
    before, after = photos(lib, MAY)[0], photos(lib, AUTUMN)[0]
    say(lib, before)
    looked_at(lib, after)
    tier = summary(lib).tier
    shut(lib, before, after)
    assert summary(lib).tier != tier
    if what == "moved":
        move(lib, [after], "D-2", by="ann")
    elif what == "forgotten":
        forget(lib, [after], by="ann")
    elif what == "answered":
        say(lib, after, by="ben")
    else:
        say(lib, after, "shows-ledger", "absent")
    assert summary(lib).tier == tier


def test_a_clock_set_back_between_visits_closes_nothing_by_accident(lib, tmp_path, photo_maker):
    late = tmp_path / "late" / DECK / "late.jpg"
    photo_maker(late, seed=77, size=(64, 48), exif={"taken_at": "2020:01:01 10:00:00"})
    early = tmp_path / "early" / DECK / "early.jpg"
    photo_maker(early, seed=78, size=(64, 48), exif={"taken_at": "2026:05:04 10:00:00"})
    ingest(lib, [tmp_path / "early"], by="ann", visit=MAY, engine="here")
    ingest(lib, [tmp_path / "late"], by="ann", visit=AUTUMN, engine="here")
    before = next(one for one in queries.photos(lib, DECK) if one.name == "early.jpg")
    after = next(one for one in queries.photos(lib, DECK) if one.name == "late.jpg")
    say(lib, before, place="left end")
    looked_at(lib, after, place="left end")
    assert refused(lambda: shut(lib, before, after, same_place=False)).condition == "clock"
    assert shut(lib, before, after)["status"] == "repaired"


def test_two_people_at_once_close_one_concern_once(lib):
    before, after = photos(lib, MAY)[0], photos(lib, AUTUMN)[0]
    say(lib, before)
    looked_at(lib, after)
    rule, outcomes = open_rule(lib), []

    def act(by):
        with Library.open(lib.path) as other:
            try:
                close(
                    other, DECK, rule, place="x", before=before, after=after, why="y", by=by, same_place=True
                )
                outcomes.append("closed")
            except Refused as error:
                outcomes.append(error.condition)

    threads = [threading.Thread(target=act, args=(name,)) for name in ("cara", "dan")]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(outcomes) == ["closed", "open-concern"]
    assert len(queries.closings(lib, DECK)) == 1


def test_a_closing_follows_a_renamed_deck_and_the_old_name_is_no_deck(lib):
    before, after = photos(lib, MAY)[0], photos(lib, AUTUMN)[0]
    say(lib, before)
    looked_at(lib, after)
    shut(lib, before, after)
    rename(lib, DECK, "D-1 north", by="ann")
    assert [one.status for one in assess_library(lib, ["D-1 north"])[0].concerns] == ["repaired"]
    with pytest.raises(BadInput, match="no deck"):
        close(lib, DECK, "missing-hanger", place="x", before=before, after=after, why="y", by="cy")


def test_an_act_on_photos_that_were_split_off_since_is_refused_and_a_closing_falls(lib):
    before, after = photos(lib, MAY)[0], photos(lib, AUTUMN)[0]
    say(lib, before)
    looked_at(lib, after)
    tier = summary(lib).tier
    shut(lib, before, after)
    split_off(lib, DECK, [after], "D-1b", by="ann")
    assert summary(lib).tier == tier, "the photo after is another deck's now"
    stale = refused(lambda: shut(lib, before, after))
    assert stale.condition == "of-this-deck", "the caller still holds the photo as it was"


def test_a_measured_place_ties_two_photos_and_another_measure_does_not(lib):
    before, after = photos(lib, MAY)[0], photos(lib, AUTUMN)[0]
    say(lib, before, place="4 ft 2 in from the left")
    looked_at(lib, after, place="8 ft from the left end")
    assert refused(lambda: shut(lib, before, after, place=None, same_place=False)).condition == "same-place"
    say(lib, after, value="absent", place="50 in from the left end")
    assert shut(lib, before, after, place=None, same_place=False)["status"] == "repaired"


def test_one_persons_yes_does_not_outvote_another_who_cannot_tell(lib):
    before, after = photos(lib, MAY)[0], photos(lib, AUTUMN)[0]
    say(lib, before)
    looked_at(lib, after)
    say(lib, after, "shows-ledger", "unclear", by="ben")
    assert refused(lambda: shut(lib, before, after)).condition == "part-seen"


def test_a_lifting_is_asked_again_whenever_it_is_printed(lib):
    before, after = photos(lib, MAY)[0], photos(lib, AUTUMN)[0]
    add_finding(lib, DECK, tier="stop-use", text="It moves.", by="ann", photos=[before], visit=MAY)
    looked_at(lib, after)
    shut(lib, before, after)
    lift(lib, DECK, why="bolted", after=after, by="cy")
    assert acts.lifts_now(lib, DECK) == ("",)
    say(lib, after, by="ben")
    assert acts.lifts_now(lib, DECK) != ("",)
    from triage.report.gather import deck_record
    from triage.report.owner import told_lines

    (line,) = told_lines(summary(lib), deck_record(lib, DECK, None))[-1:]
    assert "This lifting does not hold any more" in line


# ---- lifting, settling, tiers -----------------------------------------------------------------------------


def test_a_stop_use_is_lifted_only_after_everything_at_stop_use_is_closed(lib):
    before, after = photos(lib, MAY)[0], photos(lib, AUTUMN)[0]
    assert refused(lambda: lift(lib, DECK, why="x", after=after, by="cy")).condition == "stop-use-on-record"
    add_finding(lib, DECK, tier="stop-use", text="It moves.", by="ann", photos=[before], visit=MAY)
    warn(lib, DECK, told="the owner", how="phone", at="2026-05-04T18:00", by="ann")
    one = refused(lambda: lift(lib, DECK, why="bolted", after=before, by="cy"))
    assert (one.condition, one.photo) == ("nothing-at-stop-use", before.path_name)
    looked_at(lib, after)
    shut(lib, before, after)
    assert refused(lambda: lift(lib, DECK, why="x", after=before, by="cy")).condition == "photo-of-the-repair"
    unseen = photos(lib, AUTUMN)[1]
    assert refused(lambda: lift(lib, DECK, why="x", after=unseen, by="cy")).condition == "photo-of-the-repair"
    lift(lib, DECK, why="bolted", after=after, by="cy")
    assert [event.kind for event in lib.undo("cy")] == ["lifted"]
    assert queries.lifts(lib, DECK) == []


def test_a_persons_stop_use_is_not_lifted_by_somebody_else(lib):
    set_tier(lib, DECK, "stop-use", why="loose", by="ann")
    after = photos(lib, AUTUMN)[0]
    looked_at(lib, after)
    assert refused(lambda: lift(lib, DECK, why="x", after=after, by="cy")).condition == "nothing-at-stop-use"
    assert refused(lambda: set_tier(lib, DECK, "watch", why="fine", by="cy")).condition == "own-tier"
    set_tier(lib, DECK, "watch", why="my mistake", by="ann")


def test_only_a_dispute_is_settled(lib):
    photo = photos(lib, MAY)[0]
    say(lib, photo)
    act = lambda: settle(lib, photo, "nail-only-ledger", "absent", why="x", by="cy")  # noqa: E731
    assert refused(act).condition == "in-dispute"
    say(lib, photo, value="absent", by="ben")
    act()
    assert refused(act).condition == "in-dispute"
