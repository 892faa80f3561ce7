"""EXIF values against the standard's and published examples.

Source: Exif 2.32 (CIPA DC-008-2019) 4.6.6 GPSLatitude; the two examples are public worked conversions of
degrees, minutes, seconds (read).
"""

import json
import shutil
import subprocess

import pytest

from triage.ingest.exif import degrees, read_exif


def test_degrees_minutes_seconds():
    assert degrees([60, 21, 40.45], "N") == pytest.approx(60.3612361, abs=5e-8)
    assert degrees([46, 54.03, 0], "N") == pytest.approx(46.9005, abs=5e-7)
    assert degrees([46, 54.03, 0], "S") == pytest.approx(-46.9005, abs=5e-7)
    assert degrees([7, 30, 0], "W") == -7.5


@pytest.mark.parametrize("parts", [[], [60, 21], [60, 61, 0], [200, 0, 0], [10, 0, 75]])
def test_a_position_that_is_none_is_none(parts):
    assert degrees(parts, "N") is None


ASKED = ("-DateTimeOriginal", "-GPSLatitude", "-GPSLongitude", "-Make", "-Model")


def _exiftool(path):
    done = subprocess.run(
        ["exiftool", "-j", "-n", *ASKED, path],
        capture_output=True,
        text=True,
        check=False,
    )
    return json.loads(done.stdout)[0] if done.stdout.strip() else {}


@pytest.mark.skipif(shutil.which("exiftool") is None, reason="exiftool is not installed (apt)")
def test_times_positions_and_cameras_agree_with_exiftool_on_real_files(real_photos):
    compared = {"time": 0, "position": 0, "camera": 0}
    for path in sorted((real_photos / "exif").rglob("*")):
        if path.suffix.lower() not in (".jpg", ".jpeg", ".heic", ".tif", ".tiff") or "torture" in str(path):
            continue
        if "broken" in str(path) or "invalid" in str(path):
            continue
        theirs, ours = _exiftool(path), read_exif(path)
        time = str(theirs.get("DateTimeOriginal", ""))
        if ours.taken_at and len(time) >= 19 and time[:4] != "0000":
            assert ours.taken_at[:19] == time[:10].replace(":", "-") + "T" + time[11:19], path
            compared["time"] += 1
        if "latitude" in ours.private and "GPSLatitude" in theirs:
            assert ours.private["latitude"] == pytest.approx(float(theirs["GPSLatitude"]), abs=1e-5), path
            assert ours.private["longitude"] == pytest.approx(float(theirs["GPSLongitude"]), abs=1e-5), path
            compared["position"] += 1
        if ours.camera and "Model" in theirs:
            assert str(theirs["Model"]).split()[-1].strip() in ours.camera, path
            compared["camera"] += 1
    assert all(count >= 3 for count in compared.values()), compared


def test_no_broken_file_stops_the_reader(real_photos):
    files = [path for path in (real_photos / "exif").rglob("*") if path.is_file()]
    assert len(files) > 100
    for path in files:
        read_exif(path)
