"""From files to photo rows: every file is accepted or set aside with a reason, and nothing is lost."""

import json
import shutil
import zipfile

import pytest

from triage.errors import BadInput, Cancelled
from triage.ingest import ingest
from triage.ingest.moving import forget, move, run_by_time
from triage.ingest.placing import meters_apart, visit_of
from triage.library import Library, queries


def reasons(result):
    return {one.file.rsplit("/", 1)[-1]: one.reason for one in result.set_aside}


def test_the_deck_is_the_folder_below_the_path_and_the_visit_the_cameras_date(library):
    photos = queries.photos(library)
    assert [photo.path_name for photo in photos][:3] == [f"D-17/IMG_041{n}.jpg" for n in range(3)]
    assert {photo.visit for photo in photos} == {"2026-05-04"}
    assert photos[0].taken_at == "2026-05-04T10:10:00"
    assert photos[0].camera == "Invented Phone 1"


def test_a_second_run_adds_nothing(library, card):
    result = ingest(library, [card], by="ann", engine="here")
    assert (len(result.added), len(result.known), result.set_aside) == (0, 6, [])


def test_the_same_bytes_under_another_deck_are_reported_and_never_moved(library, card, tmp_path):
    shutil.copytree(card / "D-17", tmp_path / "other" / "D-99")
    result = ingest(library, [tmp_path / "other"], by="ann", engine="here")
    assert len(result.set_aside) == 3
    assert "is already here as D-17/IMG_0410.jpg" in result.set_aside[0].reason
    assert queries.decks(library) == ["D-17", "D-18"]


def test_a_deck_sent_again_under_another_name_is_named(library, card, tmp_path, capsys):
    """Encoded again the bytes differ; the pictures look the same, so that the two decks count as one."""
    from PIL import Image

    from triage.cli import run

    for file in (card / "D-17").glob("*.jpg"):
        (tmp_path / "more" / "Miller").mkdir(parents=True, exist_ok=True)
        with Image.open(file) as picture:
            picture.save(tmp_path / "more" / "Miller" / file.name, quality=70)
    assert run(["ingest", str(tmp_path / "more"), "--engine", "here", "-L", str(library.path)]) == 0
    assert "Photos of Miller look the same as some of D-17" in capsys.readouterr().err
    result = ingest(library, [tmp_path / "more"], by="ann", engine="here")
    assert (len(result.added), result.look_alikes) == (0, {})


def test_a_second_folder_of_one_name_is_set_aside_with_a_question(library, photo_maker, tmp_path):
    photo_maker(tmp_path / "else" / "D-17" / "new.jpg", seed=900)
    result = ingest(library, [tmp_path / "else"], by="ann", engine="here")
    assert "is this the deck D-17 that is here already?" in result.set_aside[0].reason
    settled = ingest(library, [tmp_path / "else"], by="ann", engine="here", visit="2026-09-01")
    assert len(settled.added) == 1
    assert queries.visits(library, "D-17") == ["2026-05-04", "2026-09-01"]


def test_two_folders_of_one_name_in_one_run_are_not_merged(library, photo_maker, tmp_path):
    for side, seed in (("north", 1), ("south", 2)):
        photo_maker(tmp_path / side / "D-30" / f"{side}.jpg", seed=500 + seed)
    result = ingest(library, [tmp_path / "north", tmp_path / "south"], by="ann", engine="here")
    assert {one["name"]: one["deck"] for one in result.added} == {
        "north.jpg": "D-30",
        "south.jpg": "unsorted",
    }
    assert [photo.name for photo in queries.photos(library, "D-30")] == ["north.jpg"]
    assert len(result.set_aside) == len(result.questions) == 1


def test_positions_far_apart_are_set_aside_with_a_question(library, photo_maker, tmp_path):
    photo_maker(tmp_path / "c" / "D-40" / "a.jpg", seed=41, exif={"gps": (46.90, 7.40)})
    ingest(library, [tmp_path / "c"], by="ann", engine="here")
    photo_maker(tmp_path / "c" / "D-40" / "b.jpg", seed=42, exif={"gps": (46.95, 7.40)})
    photo_maker(tmp_path / "c" / "D-40" / "c.jpg", seed=43, exif={"gps": (46.9001, 7.40)})
    (tmp_path / "c" / "D-40" / "c.jpg").unlink()
    result = ingest(library, [tmp_path / "c"], by="ann", engine="here")
    assert "3.5 miles from the photos of deck D-40" in result.set_aside[0].reason


@pytest.mark.parametrize(("meters", "asked"), [(60, False), (400, True), (2400, True)])
def test_a_house_in_the_next_street_is_asked_about(library, photo_maker, tmp_path, meters, asked):
    """A phone's error under trees is not asked about; a few houses further on is."""
    for name, seed, north in (("first", 41, 0), ("second", 42, meters)):
        where = {"gps": (46.90 + north / 111_195, 7.40)}
        photo_maker(tmp_path / "c" / "D-40" / f"{name}.jpg", seed=seed, exif=where)
        result = ingest(library, [tmp_path / "c"], by="ann", engine="here")
    found = [one.reason for one in result.set_aside]
    assert ["from the photos of deck D-40" in one for one in found] == [True] * asked


def test_a_bad_file_is_set_aside_and_the_batch_goes_on(library, card, photo_maker, tmp_path):
    folder = tmp_path / "mixed" / "D-50"
    photo_maker(folder / "good.jpg", seed=50)
    whole = photo_maker(folder / "half.jpg", seed=51).read_bytes()
    (folder / "half.jpg").write_bytes(whole[: len(whole) // 2])
    (folder / "text.jpg").write_text("this is no photo")
    (folder / "empty.jpg").touch()
    (folder / "walk.mp4").write_bytes(b"\0" * 50)
    (folder / "notes.txt").write_text("x")
    result = ingest(library, [tmp_path / "mixed"], by="ann", engine="here")
    assert [one["name"] for one in result.added] == ["good.jpg"]
    found = reasons(result)
    assert set(found) == {"half.jpg", "text.jpg", "empty.jpg", "walk.mp4", "notes.txt"}
    assert "video" in found["walk.mp4"]
    assert "cut short" in found["half.jpg"]


def test_a_photo_without_exif_is_taken_and_its_visit_stays_open(library, photo_maker, tmp_path):
    photo_maker(tmp_path / "x" / "D-60" / "a.jpg", seed=60)
    result = ingest(library, [tmp_path / "x"], by="ann", engine="here")
    assert result.undated == ["D-60"]
    assert queries.photos(library, "D-60")[0].taken_at is None


def test_two_photos_of_one_name_in_a_deck_and_visit_are_a_question(library, photo_maker, tmp_path):
    photo_maker(tmp_path / "y" / "IMG_0410.jpg", seed=70, exif={"taken_at": "2026:05:04 11:00:00"})
    result = ingest(library, [tmp_path / "y"], deck="D-17", by="ann", engine="here")
    assert "another photo is named D-17/IMG_0410.jpg already" in result.set_aside[0].reason


def test_the_names_of_two_phones_do_not_clash(library, photo_maker, tmp_path):
    for phone in ("phone-a", "phone-b"):
        photo_maker(tmp_path / "z" / "D-70" / phone / "IMG_0412.jpg", seed=len(phone) + ord(phone[-1]))
    result = ingest(library, [tmp_path / "z"], by="ann", engine="here")
    assert [one["name"] for one in result.added] == ["phone-a/IMG_0412.jpg", "phone-b/IMG_0412.jpg"]


def test_an_empty_folder_and_a_missing_path_say_so(library, tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(BadInput, match="There are no photos"):
        ingest(library, [tmp_path / "empty"], by="ann")
    with pytest.raises(BadInput, match="There is no file or folder"):
        ingest(library, [tmp_path / "nowhere"], by="ann")


def test_a_zip_gives_the_same_decks_as_its_folder(tmp_path, card):
    with zipfile.ZipFile(tmp_path / "card.zip", "w") as archive:
        for path in sorted(card.rglob("*.jpg")):
            archive.write(path, path.relative_to(card))
    with Library.create(tmp_path / "lib") as library:
        result = ingest(library, [tmp_path / "card.zip"], by="ann", engine="here")
        assert len(result.added) == 6
        assert queries.decks(library) == ["D-17", "D-18"]
        again = ingest(library, [tmp_path / "card.zip"], by="ann", engine="here")
        assert (len(again.added), len(again.known), again.set_aside) == (0, 6, [])
    assert not (tmp_path / "lib" / "cache" / "unpacked").exists()


@pytest.mark.parametrize("name", ["../evil.jpg", "/evil-absolute.jpg", "D-1/../../evil.jpg", "C:\\evil.jpg"])
def test_a_zip_cannot_write_outside(library, tmp_path, photo_maker, name):
    photo = photo_maker(tmp_path / "p.jpg", seed=80).read_bytes()
    with zipfile.ZipFile(tmp_path / "evil.zip", "w") as archive:
        archive.writestr(name, photo)
        archive.writestr("D-80/good.jpg", photo)
    result = ingest(library, [tmp_path / "evil.zip"], by="ann", engine="here")
    assert [one["name"] for one in result.added] == ["good.jpg"]
    assert "leads out of the zip" in result.set_aside[0].reason
    assert not list(tmp_path.parent.glob("evil*"))


def test_a_zip_that_unpacks_to_far_more_than_a_photo_is_set_aside(library, tmp_path):
    with zipfile.ZipFile(tmp_path / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("D-81/bomb.jpg", b"\0" * 30_000_000)
    result = ingest(library, [tmp_path / "bomb.zip"], by="ann", engine="here")
    assert "packed far tighter" in result.set_aside[0].reason


def test_a_link_out_of_the_folder_is_not_followed(library, tmp_path, photo_maker):
    secret = photo_maker(tmp_path / "secret" / "s.jpg", seed=82)
    (tmp_path / "w" / "D-82").mkdir(parents=True)
    (tmp_path / "w" / "D-82" / "link.jpg").symlink_to(secret)
    (tmp_path / "w" / "D-82" / "folder").symlink_to(secret.parent)
    result = ingest(library, [tmp_path / "w"], by="ann", engine="here")
    assert not result.added
    assert all("link" in one.reason for one in result.set_aside)


def test_a_dry_run_changes_nothing(tmp_path, card):
    with Library.create(tmp_path / "lib") as library:
        result = ingest(library, [card], by="ann", dry_run=True)
        assert len(result.added) == 6
        assert queries.photos(library) == []


def test_stopping_keeps_what_was_finished_and_the_next_run_goes_on(tmp_path, card):
    calls = iter([False] * 4 + [True] * 100)
    with Library.create(tmp_path / "lib") as library:
        with pytest.raises(Cancelled):
            ingest(library, [card], by="ann", engine="here", cancel=lambda: next(calls))
        assert 0 < len(queries.photos(library)) < 6
        ingest(library, [card], by="ann", engine="here")
        assert len(queries.photos(library)) == 6


def test_worker_processes_give_the_same_as_this_process(tmp_path, card):
    for number in range(4):
        shutil.copy(card / "D-17" / "IMG_0410.jpg", card / "D-17" / f"copy{number}.jpg")
        with (card / "D-17" / f"copy{number}.jpg").open("ab") as file:
            file.write(bytes([number]))
    found = []
    for engine in ("here", "processes"):
        with Library.create(tmp_path / engine) as library:
            ingest(library, [card], by="ann", engine=engine)
            found.append([(photo.sha, photo.path_name, photo.quality) for photo in queries.photos(library)])
    assert found[0] == found[1]
    assert len(found[0]) == 10


def test_position_and_serials_stay_out_of_events_and_photo_rows(library, photo_maker, tmp_path):
    photo_maker(tmp_path / "g" / "D-90" / "a.jpg", seed=90, exif={"gps": (46.9005, -7.4), 315: "Ivy Nobody"})
    ingest(library, [tmp_path / "g"], by="ann", engine="here")
    photo = queries.photos(library, "D-90")[0]
    assert queries.private_exif(library, photo.sha)["longitude"] == pytest.approx(-7.4, abs=1e-6)
    shown = json.dumps([dict(event.payload) for event in library.events()]) + repr(photo)
    assert "46.9005" not in shown
    assert "Ivy Nobody" not in shown


def test_meters_apart_along_a_meridian():
    # one minute of latitude is a nautical mile of 1852 m to within 0.3 % on a sphere of 6371 km (calculation)
    assert meters_apart([(0.0, 0.0)], [(1 / 60, 0.0)]) == pytest.approx(1853.2, abs=0.1)
    assert meters_apart([], [(0.0, 0.0)]) is None


def test_a_visit_needs_every_photo_to_share_one_date():
    assert visit_of(["2026-05-04T10:00:00", "2026-05-04T23:59:00+02:00"]) == "2026-05-04"
    assert visit_of(["2026-05-04T10:00:00", None]) is None
    assert visit_of(["2026-05-04T10:00:00", "2026-05-05T10:00:00"]) is None
    assert visit_of([]) is None


def test_a_run_by_time_moves_as_one_act_and_undo_puts_it_back(library):
    first, last = (
        queries.find_photo(library, "D-17/IMG_0410.jpg"),
        queries.find_photo(library, "D-17/IMG_0411.jpg"),
    )
    move(library, run_by_time(library, first, last), "D-19", by="ann", why="wrong house")
    assert [photo.name for photo in queries.photos(library, "D-19")] == ["IMG_0410.jpg", "IMG_0411.jpg"]
    library.undo("ann")
    assert queries.photos(library, "D-19") == []
    assert len(queries.photos(library, "D-17")) == 3


def test_a_move_onto_a_taken_name_moves_nothing(library):
    with pytest.raises(BadInput, match="nothing was moved"):
        move(library, queries.photos(library, "D-17"), "D-18", by="ann")
    assert len(queries.photos(library, "D-17")) == 3


def test_forgetting_leaves_a_tombstone_and_no_bytes(library, card):
    photo = queries.find_photo(library, "D-17/IMG_0410.jpg")
    path = library.original(photo.sha)
    forget(library, [photo], by="ann")
    assert not path.exists()
    assert len(queries.photos(library, "D-17")) == 2
    assert [event.payload["sha"] for event in library.events("forgotten")] == [photo.sha]
    result = ingest(library, [card], by="ann", engine="here")
    assert "removed from the library for good" in result.set_aside[0].reason


def test_a_photo_in_an_issued_report_cannot_be_forgotten(library):
    photo = queries.find_photo(library, "D-17/IMG_0410.jpg")
    library.say("issued", {"number": "R-1", "photos": [photo.sha], "report_hash": "x"}, by="ann")
    with pytest.raises(BadInput, match="used by the issued report R-1"):
        forget(library, [photo], by="ann")
    assert library.original(photo.sha).exists()
