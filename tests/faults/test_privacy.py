"""Position, serials and names stay in: every file that is produced is read by exiftool and searched."""

import json
import shutil
import subprocess

import pytest
from long_runs import LONG

from triage.assess import assess_library
from triage.ingest import ingest
from triage.label.rows import give_labels, labels_file
from triage.library import queries
from triage.report import write_report

SECRETS = ("46.9005", "7.4111", "Ivy Nobody", "SN-12345")


@pytest.fixture
def secret_library(library, photo_maker, tmp_path):
    exif = {
        "gps": (46.9005, 7.4111),
        315: "Ivy Nobody",
        0xA431: "SN-12345",
        "taken_at": "2026:05:04 10:00:00",
    }
    photo_maker(tmp_path / "s" / "D-90" / "a.jpg", seed=90, exif=exif)
    ingest(library, [tmp_path / "s"], by="ann", engine="here")
    photo = queries.photos(library, "D-90")[0]
    give_labels(library, [(photo, {"missing-hanger": "present"})], by="ann")
    return library


@pytest.mark.skipif(
    shutil.which("exiftool") is None, reason="exiftool is not installed (apt: libimage-exiftool-perl)"
)
def test_no_produced_file_tells_where_or_by_whom(secret_library, tmp_path):
    out = tmp_path / "out"
    write_report(secret_library, assess_library(secret_library), out / "report", per_deck=True)
    labels_file(secret_library, out / "labels.csv")
    from triage.exchange import export_library

    for kind in ("csv", "coco", "xmp"):
        export_library(secret_library, out / kind, kind)
    files = [path for path in out.rglob("*") if path.is_file()]
    files += [secret_library.renditions.path(photo.sha) for photo in queries.photos(secret_library)]
    assert len(files) > 10
    for path in files:
        text = path.read_bytes().decode("latin-1")
        assert not [secret for secret in SECRETS if secret in text], path
    told = subprocess.run(
        ["exiftool", "-j", "-G", "-n", *map(str, files)], capture_output=True, text=True, check=False
    )
    for row in json.loads(told.stdout):
        assert not [key for key in row if "GPS" in key or "Serial" in key or "Artist" in key], row


def test_the_whole_line_needs_no_network(labeled_library, tmp_path):
    """In a network namespace with loopback only; needs the right to make one."""
    import os
    import sys
    from pathlib import Path

    probe = subprocess.run(["unshare", "-n", "true"], capture_output=True, check=False)
    if probe.returncode != 0:
        if os.environ.get("CI"):
            pytest.fail("this machine does not allow network namespaces")
        pytest.skip("this machine does not allow network namespaces")
    shutil.copytree(labeled_library, tmp_path / "library")
    command = str(Path(sys.executable).parent / "deck-triage")
    learned = [["train", "--tag", "shows-flashing"], ["presort"]]  # a usual run has them in `test_traced`
    for words in (*(learned if LONG else []), ["assess"], ["report", "--out", str(tmp_path / "r")]):
        done = subprocess.run(
            ["unshare", "-n", command, *words, "-L", str(tmp_path / "library")],
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode in (0, 3), done.stderr
