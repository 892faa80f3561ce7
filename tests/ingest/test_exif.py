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
