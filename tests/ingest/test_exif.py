"""What a photo says of itself: the camera's name."""

import pytest

from triage.ingest.exif import read_exif


@pytest.mark.parametrize(
    ("make", "model", "camera"),
    [
        ("Invented", "Phone 1", "Invented Phone 1"),
        ("Invented", "Invented Phone 1", "Invented Phone 1"),
        ("INVENTED", "Invented Phone 1", "Invented Phone 1"),
        (None, "Phone 1", "Phone 1"),
        ("Invented", None, "Invented"),
        (None, None, None),
    ],
)
def test_the_maker_is_named_once(photo_maker, tmp_path, make, model, camera):
    said = {271: make, 272: model}
    photo_maker(tmp_path / "one.jpg", seed=1, exif={key: value for key, value in said.items() if value})
    assert read_exif(tmp_path / "one.jpg").camera == camera


def test_a_files_bytes_say_the_same_as_the_file(photo_maker, tmp_path):
    said = {271: "Invented", "taken_at": "2026:05:04 10:00:00", "gps": (46.9, -7.4)}
    photo_maker(tmp_path / "one.jpg", seed=1, exif=said)
    found = read_exif(tmp_path / "one.jpg")
    assert found.private["latitude"] == pytest.approx(46.9, abs=1e-6)
    assert read_exif((tmp_path / "one.jpg").read_bytes()) == found
    assert read_exif(b"") == read_exif(b"no photo")


def test_a_position_of_zero_zero_is_none(photo_maker, tmp_path):
    photo_maker(tmp_path / "one.jpg", seed=1, exif={"gps": (0.0, 0.0)})
    assert "latitude" not in read_exif(tmp_path / "one.jpg").private
