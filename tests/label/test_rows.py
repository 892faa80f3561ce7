"""Words on photos: nothing overwritten, unknown things refused, files read twice add nothing."""

import csv

import pandas
import pytest

from triage.errors import BadInput, WrongUsage
from triage.label.files import COLUMNS, read_csv_rows
from triage.label.rows import Where, give_labels, labels_file, settle, store_rows
from triage.label.tags import add_tags
from triage.library import queries


def write(path, rows):
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["photo", "deck", "tag", "value", "by", "at", "box"])
        writer.writerows(rows)
    return path


def test_several_answers_on_one_photo_are_one_act(library):
    photo = queries.photos(library)[0]
    give_labels(library, [(photo, {"missing-hanger": "present", "shows-hanger": "present"})], by="ann")
    assert len(queries.labels(library)) == 2
    library.undo("ann")
    assert queries.labels(library) == []


def test_a_box_goes_with_one_tag_only_and_lies_inside_the_photo(library):
    photo = queries.photos(library)[0]
    with pytest.raises(WrongUsage, match="one tag"):
        give_labels(
            library,
            [(photo, {"missing-hanger": "present", "rusted-connector": "absent"})],
            by="ann",
            boxes=[(0, 0, 1, 1)],
        )
    with pytest.raises(WrongUsage, match="reaches outside"):
        give_labels(library, [(photo, {"missing-hanger": "present"})], by="ann", boxes=[(0.9, 0, 0.2, 1)])
    (label,) = give_labels(
        library, [(photo, {"missing-hanger": "present"})], by="ann", boxes=[(0.4, 0.5, 0, 0)]
    )
    assert label.boxes == ((0.4, 0.5, 0.0, 0.0),)
    assert queries.labels(library)[0] == label


def test_an_unknown_tag_is_wrong_usage_with_the_near_names(library):
    with pytest.raises(WrongUsage) as caught:
        give_labels(library, [(queries.photos(library)[0], {"mising-hanger": "present"})], by="ann")
    assert "missing-hanger" in str(caught.value) + caught.value.hint


def test_an_unknown_answer_is_wrong_usage(library):
    with pytest.raises(WrongUsage, match="not a valid answer"):
        give_labels(library, [(queries.photos(library)[0], {"missing-hanger": "maybe"})], by="ann")


def test_a_file_read_twice_adds_nothing(library, tmp_path):
    rows = [
        [
            "D-17/IMG_0410.jpg",
            "D-17",
            "missing-hanger",
            "present",
            "ann",
            "2026-05-05T09:00:00",
            "0.1,0.2,0.3,0.4;0.5,0.5,0,0",
        ]
    ]
    path = write(tmp_path / "labels.csv", rows)
    first = store_rows(library, *read_csv_rows(path), by=None)
    again = store_rows(library, *read_csv_rows(path), by=None)
    assert (first.new, first.known, again.new, again.known) == (1, 0, 0, 1)
    (label,) = queries.labels(library)
    assert label.at == "2026-05-05T09:00:00"
    assert len(label.boxes) == 2


def test_unknown_photos_and_tags_are_set_aside_by_row(library, tmp_path):
    rows = [
        ["D-17/IMG_0410.jpg", "D-17", "missing-hanger", "present", "ann", "", ""],
        ["D-17/nowhere.jpg", "D-17", "missing-hanger", "present", "ann", "", ""],
        ["D-17/IMG_0411.jpg", "D-17", "no-such-tag", "present", "ann", "", ""],
        ["IMG_0411.jpg", "D-17", "missing-hanger", "absent", "", "", ""],
        ["IMG_0411.jpg", "D-17", "missing-hanger", "perhaps", "ann", "", ""],
    ]
    result = store_rows(library, *read_csv_rows(write(tmp_path / "l.csv", rows)), by=None)
    assert (result.rows, result.new) == (5, 1)
    assert [one.row for one in result.set_aside] == [3, 4, 5, 6]
    named = store_rows(library, *read_csv_rows(tmp_path / "l.csv"), by="ben")
    assert (named.new, named.known, len(named.set_aside)) == (1, 1, 3)


def test_a_round_trip_by_pandas_keeps_every_word(library, tmp_path):
    """The labels as pandas reads them, written back by pandas, are all known."""
    photos = queries.photos(library)
    give_labels(
        library,
        [(photos[0], {"missing-hanger": "present"})],
        by="ann",
        boxes=[(0.125, 0.25, 0.5, 0.25)],
        place="joist 4, house side",
        count=2,
        note='=1+1, "quoted"; ümlaut',
    )
    give_labels(
        library, [(photos[1], {"missing-hanger": "unclear", "shows-hanger": "absent"})], by="Ben, jr."
    )
    assert labels_file(library, tmp_path / "out.csv", show_names=True) == 3
    frame = pandas.read_csv(tmp_path / "out.csv", dtype=str, keep_default_na=False)
    assert list(frame.columns) == list(COLUMNS)
    frame.to_csv(tmp_path / "again.csv", index=False)
    before = {
        (one.photo, one.tag, one.value, one.by, one.boxes, one.place, one.count, one.note)
        for one in queries.labels(library)
    }
    store_rows(library, *read_csv_rows(tmp_path / "again.csv"), by=None)
    after = {
        (one.photo, one.tag, one.value, one.by, one.boxes, one.place, one.count, one.note)
        for one in queries.labels(library)
    }
    assert after == before


def test_a_file_without_names_says_nothing_new_where_it_came_from(library, tmp_path):
    """Pseudonyms of this library are its people, and what a private file leaves out is not taken away."""
    photo = queries.photos(library)[0]
    give_labels(library, [(photo, {"missing-hanger": "present"})], by="Planted", place="joist 4", note="wet")
    give_labels(library, [(photo, {"shows-hanger": "absent"})], by="Planted")
    labels_file(library, tmp_path / "out.csv")
    text = (tmp_path / "out.csv").read_text()
    assert not [secret for secret in ("Planted", "joist 4", "wet") if secret in text]
    labels_file(library, tmp_path / "texts.csv", with_text=True)
    assert "joist 4" in (tmp_path / "texts.csv").read_text()
    before = queries.labels(library)
    done = store_rows(library, *read_csv_rows(tmp_path / "out.csv"), by=None)
    assert (done.new, done.known) == (0, 2)
    assert queries.labels(library) == before
    changed = text.replace("shows-hanger,absent", "shows-hanger,present")
    (tmp_path / "out.csv").write_text(changed)
    assert store_rows(library, *read_csv_rows(tmp_path / "out.csv"), by=None).new == 1
    assert {label.by for label in queries.labels(library)} == {"Planted"}


def test_the_log_tells_what_was_replaced_and_what_was_undone(library):
    photo = queries.photos(library)[0]
    for value in ("present", "absent"):
        give_labels(library, [(photo, {"missing-hanger": value})], by="ann")
    library.undo("ann")
    with library.read() as connection:
        rows = queries.label_log(connection, photo.sha)
    assert [(row["value"], row["replaced"], row["undone"]) for row in rows] == [
        ("present", None, False),
        ("absent", "present", True),
    ]


def test_a_settlement_needs_a_reason(library):
    with pytest.raises(WrongUsage, match="reason"):
        settle(library, queries.photos(library)[0], "missing-hanger", "absent", why=" ", by="cy")


def test_many_photos_are_answered_as_one_act(library):
    photos = queries.photos(library, "D-17")
    give_labels(
        library, [(photo, {"shows-hanger": "present"}) for photo in photos], by="ann", asked_by="deck"
    )
    assert len(queries.labels(library)) == 3
    library.undo("ann")
    assert queries.labels(library) == []


def test_own_tags_are_added_once_and_a_differing_one_is_refused(library, tmp_path):
    own = tmp_path / "own.toml"
    own.write_text('[[tag]]\ntag = "wasp-nest"\nkind = "defect"\ndefinition = "A nest of wasps."\n')
    assert [tag.tag for tag in add_tags(library, own)[0]] == ["wasp-nest"]
    assert [tag.tag for tag in add_tags(library, own)[1]] == ["wasp-nest"]
    give_labels(library, [(queries.photos(library)[0], {"wasp-nest": "present"})], by="ann")
    own.write_text('[[tag]]\ntag = "wasp-nest"\nkind = "defect"\ndefinition = "Something else."\n')
    with pytest.raises(BadInput, match="a different definition"):
        add_tags(library, own)


def test_places_of_several_answers_are_one_act(library):
    one, two, three = queries.photos(library, "D-17")
    where = {(two.sha, "missing-hanger"): Where(((0.5, 0.5, 0.0, 0.0),), "joist 4 of 14", 2)}
    answers = [(one, {"missing-hanger": "absent"}), (two, {"missing-hanger": "present"})]
    labels = give_labels(library, [*answers, (three, {"missing-hanger": "absent"})], by="ann", where_of=where)
    assert [label.boxes for label in labels] == [(), ((0.5, 0.5, 0.0, 0.0),), ()]
    stored = {label.photo: label for label in queries.labels(library)}
    two_now = stored[two.sha]
    assert (two_now.boxes, two_now.place, two_now.count) == (labels[1].boxes, "joist 4 of 14", 2)
    assert stored[one.sha].place is None
    library.undo("ann")
    assert queries.labels(library) == []
