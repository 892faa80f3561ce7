"""No act makes a deck look better without evidence that was looked at: the table, acts, random histories."""

from __future__ import annotations

import re
import shutil
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from triage.assess import DeckSummary, acts, assess_library, visits
from triage.assess.acts import close, lift, set_tier
from triage.assess.said import add_finding, warn
from triage.domain.acts import FIRM_FILE, Refused, conditions
from triage.domain.tiers import tier_rank
from triage.errors import TriageError
from triage.ingest import ingest
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
    give_labels(library, photo, {tag: value}, by=by, place=place)


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


# ---- the law ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Step:
    kind: str
    one: int
    two: int
    tag: str
    value: str
    flag: bool


steps = st.lists(
    st.builds(
        Step,
        st.sampled_from(["label", "label", "look", "look", "close", "close", "close", "lift", "tier", "find",
                         "settle", "warn"]),
        st.integers(0, 5),
        st.integers(0, 5),
        st.sampled_from(sorted(TAGS)),
        st.sampled_from(["present", "present", "absent", "unclear"]),
        st.booleans(),
    ),
    min_size=3,
    max_size=12,
)  # fmt: skip


def act(library: Library, step: Step, number: int) -> None:
    """Do a step by a new person each time, so that nobody takes back an own word."""
    seen, by = queries.photos(library, DECK), f"person {number}"
    one, two = seen[step.one], seen[step.two]
    if step.kind == "label":
        say(library, one, step.tag, step.value, by)
    elif step.kind == "look":
        looked_at(library, one, step.tag, by, "left end" if step.flag else None)
    elif step.kind == "close":
        open_ones = [c for c in summary(library).concerns if c.is_open]
        rule = open_ones[step.two % len(open_ones)].rule if open_ones else "missing-hanger"
        close(library, DECK, rule, place="left end", before=one, after=two, why="x", by=by,
              same_place=step.flag)  # fmt: skip
    elif step.kind == "lift":
        lift(library, DECK, why="x", after=one, by=by)
    elif step.kind == "tier":
        set_tier(library, DECK, "watch" if step.flag else "repair-before-use", why="x", by=by)
    elif step.kind == "find":
        tier = "stop-use" if step.flag else "watch"
        add_finding(library, DECK, tier=tier, text="x", by=by, photos=[one], visit=one.visit)
    elif step.kind == "settle":
        settle(library, one, step.tag, "absent", why="x", by=by)
    else:
        warn(library, DECK, told="x", how="y", at="2026-05-04T18:00", by=by)


def broken_law(library: Library, now: DeckSummary | None = None) -> str | None:
    """Return a concern that went without evidence in the log, or null.

    Evidence is read from the labels alone, by another road than the program's: for every photo on which
    somebody ever said 'present', the tag's concern is open, or a settlement is in the log, or a closing names
    the photo and an after-photo of a later visit on which somebody said 'absent' and nobody 'present', and
    'shows' and nobody that it does not.
    """
    said: dict[tuple[str, str], set[str]] = {}
    for one in queries.labels(library, DECK):
        said.setdefault((one.photo, one.tag), set()).add(one.value)
    settled = {(e.payload["photo"], e.payload["tag"]) for e in queries.statements(library, "settled")}
    visit = {photo.sha: photo.visit or "" for photo in queries.photos(library, DECK)}
    open_photos = {(sha, c.tag) for c in (now or summary(library)).concerns if c.is_open for sha in c.photos}
    for (sha, tag), values in said.items():
        if tag not in TAGS or "present" not in values or (sha, tag) in settled | open_photos:
            continue
        borne = [
            closing
            for closing in queries.closings(library, DECK)
            if (closing.before == sha or closing.place == "left end")
            and visit[closing.after] > visit[sha]
            and (values_of := said.get((closing.after, tag), set()))
            and ("present" not in values_of or (closing.after, tag) in settled)
            and said.get((closing.after, f"shows-{TAGS[tag]}")) == {"present"}
        ]
        if not borne:
            return f"{tag} on {sha[:8]}"
    return None


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps)
def test_no_history_lowers_a_tier_without_evidence(lib, tmp_path, history):
    with TemporaryDirectory(dir=tmp_path) as folder:
        shutil.copytree(lib.path, folder, dirs_exist_ok=True)
        with Library.open(Path(folder)) as library:
            goes_through(library, history)


def goes_through(library: Library, history: list[Step]) -> None:
    now = summary(library)
    for number, step in enumerate(history):
        before = now
        try:
            act(library, step, number)
        except TriageError:
            continue
        now = summary(library)
        if tier_rank(now.tier) > tier_rank(before.tier):
            assert step.kind in ("close", "settle"), step
        assert broken_law(library, now) is None, (step, now.tier)


BROKEN = {
    "the walk is not asked for": ("_order_fault", lambda *a, **k: None),
    "no answer is asked for": ("_answer_fault", lambda *a, **k: None),
}


@pytest.mark.parametrize("what", sorted(BROKEN))
def test_the_law_catches_a_program_that_asks_for_less(lib, monkeypatch, what):
    before, same_walk = photos(lib, MAY)
    after = photos(lib, AUTUMN)[0]
    say(lib, before)
    if what == "the walk is not asked for":
        looked_at(lib, same_walk)
        after = same_walk
    assert broken_law(lib) is None
    monkeypatch.setattr(visits, BROKEN[what][0], BROKEN[what][1])
    shut(lib, before, after)
    assert broken_law(lib) is not None
