"""What grew between two visits: the grade of rust at one place, a measured gap; command, JSON, report."""

import json

import deck_builder as made
import pytest

from triage.assess.grown import NO_RUST, measured_grown, rust_grown
from triage.cli import run
from triage.ingest import ingest
from triage.library import queries
from triage.library.records import Closing, Fact, Word

MAY, OCTOBER = "2026-05-04", "2026-10-11"
PLACE = "post 2 of 3"
LIGHT, RUSTED, SCALING = "light-rust", "rusted-connector", "rust-scaling"


def words(*said):
    """Words of (photo, tag, value, place)."""
    found = {}
    for photo, tag, value, place in said:
        label = made.label(photo, tag, value, place=place)
        found[photo.sha, tag] = Word(photo.sha, tag, value, False, False, (label,))
    return found


@pytest.fixture
def shots():
    return made.photo("1.jpg", visit=MAY), made.photo("2.jpg", visit=OCTOBER)


@pytest.mark.parametrize(
    ("before", "after", "names", "change"),
    [
        ((LIGHT, "present"), (SCALING, "present"), (LIGHT, SCALING), "worse"),
        ((RUSTED, "present"), (LIGHT, "present"), (RUSTED, LIGHT), "better"),
        ((LIGHT, "present"), (LIGHT, "present"), (LIGHT, LIGHT), "the same"),
        ((RUSTED, "present"), (RUSTED, "absent"), (RUSTED, NO_RUST), "better"),
        ((RUSTED, "absent"), (SCALING, "present"), (NO_RUST, SCALING), "worse"),
    ],
)
def test_two_photos_of_one_place_are_graded(shots, before, after, names, change):
    one, other = shots
    said = words((one, *before, PLACE), (other, *after, "Post 2 of 3."))
    (row,) = rust_grown(said, [one], [other])
    assert ((row.before, row.after), row.change) == (names, change)
    assert (row.place, row.photo_before, row.photo_after) == (PLACE, one.sha, other.sha)


@pytest.mark.parametrize(
    "after",
    [
        (RUSTED, "present", "post 3 of 3"),
        (RUSTED, "present", None),
        (RUSTED, "unclear", PLACE),
        ("missing-hanger", "present", PLACE),
    ],
)
def test_what_is_not_of_one_place_or_not_said_is_not_compared(shots, after):
    one, other = shots
    assert rust_grown(words((one, LIGHT, "present", PLACE), (other, *after)), [one], [other]) == []


def test_no_rust_at_either_visit_is_no_row(shots):
    one, other = shots
    said = words(*((shot, RUSTED, "absent", PLACE) for shot in shots))
    assert rust_grown(said, [one], [other]) == []


def test_photos_that_a_closing_ties_together_are_of_one_place(shots):
    one, other = shots
    said = words((one, SCALING, "present", None), (other, RUSTED, "absent", None))
    tied = Closing("d", SCALING, PLACE, one.sha, other.sha, "replaced", "Cara", made.AT, OCTOBER)
    (row,) = rust_grown(said, [one], [other], [tied])
    assert (row.place, row.before, row.after, row.change) == (PLACE, SCALING, NO_RUST, "better")


def test_a_gap_that_was_measured_twice_is_compared():
    def gap(visit, value, photo):
        return {"ledger_gap_in": Fact("d", visit, "ledger_gap_in", value, "Ann", made.AT, (photo,))}

    (row,) = measured_grown(gap(MAY, 0.25, "a"), gap(OCTOBER, 0.5, "b"))
    assert (row.before, row.after, row.change) == ("0.25 in", "0.5 in", "worse")
    assert (row.photo_before, row.photo_after) == ("a", "b")
    assert measured_grown(gap(MAY, 0.25, "a"), gap(MAY, 0.25, "a")) == []  # not measured again
    assert measured_grown(gap(MAY, 0.25, "a"), {}) == []


def test_command_and_report_show_the_pair(library, tmp_path, photo_maker, capsys):
    photo_maker(tmp_path / "again" / "D-17" / "IMG_0900.jpg", seed=900)
    ingest(library, [tmp_path / "again"], by="ben", visit=OCTOBER, engine="here")
    where, first, last = ["-L", str(library.path)], "D-17/IMG_0410.jpg", "D-17/IMG_0900.jpg"
    for photo, tag in ((first, LIGHT), (last, SCALING)):
        said = ["label", "set", photo, f"{tag}=present", "--place", PLACE, "--box", "0.4,0.4,0.2,0.2"]
        assert run([*said, "--by", "ann", *where]) == 0
    for visit, photo, inches in ((MAY, first, "0.25"), (OCTOBER, last, "0.5")):
        said = ["facts", "set", "D-17", f"ledger_gap_in={inches}", "--visit", visit, "--photo", photo]
        assert run([*said, "--by", "ann", *where]) == 0
    capsys.readouterr()
    assert run(["compare", "D-17", "--json", *where]) == 0
    grown = json.loads(capsys.readouterr().out)["grown"]
    photos = [queries.find_photo(library, first).sha, queries.find_photo(library, last).sha]
    assert [(row["what"], row["before"], row["after"], row["change"]) for row in grown] == [
        ("gap between ledger and house", "0.25 in", "0.5 in", "worse"),
        ("rust", LIGHT, SCALING, "worse"),
    ]
    assert all([row["photo_before"], row["photo_after"]] == photos for row in grown)
    assert run(["compare", "D-17", *where]) == 0
    assert "rust at post 2 of 3: light-rust before, rust-scaling now: worse" in capsys.readouterr().out
    assert run(["report", "D-17", "--out", str(tmp_path / "report"), *where]) == 0
    page = (tmp_path / "report" / "record.html").read_text()
    assert "Rust at post 2 of 3: light rust before, rust scaling now (worse)." in page
    assert "Gap between ledger and house: 0.25 in before, 0.5 in now (worse)." in page
    assert page.count('data-k="pair ') == 4
