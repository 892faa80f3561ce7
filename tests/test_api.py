"""The line as calls in Python: what `import triage` offers is there and works together."""

import subprocess
import sys

import pytest

import triage
from triage.library import queries

HEAVY = ("numpy", "pandas", "sklearn", "sqlalchemy", "cv2")
CODE = f"import sys, triage; print([m for m in {HEAVY} if m in sys.modules])"


@pytest.mark.parametrize("name", triage.__all__)
def test_every_offered_name_is_there_and_documented(name):
    assert getattr(triage, name).__doc__


def test_import_loads_nothing_heavy():
    done = subprocess.run(
        [sys.executable, "-c", CODE],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip() == "[]"


def test_the_line_in_python(tmp_path, card):
    with triage.Library.create(tmp_path / "library") as library:
        triage.ingest_photos(library, [card], by="ann", engine="here")
        photo = queries.find_photo(library, "D-17/IMG_0410.jpg")
        triage.give_labels(library, [(photo, {"nail-only-ledger": "present"})], by="ann")
        triage.set_facts(library, "D-17", {"height_above_grade_ft": "6"}, by="ann")
        worst, other = triage.assess_library(library)
        assert worst.deck == "D-17"
        assert worst.tier in ("stop-use", "repair-before-use")
        assert other.tier is None
        files = triage.write_report(library, [worst, other], tmp_path / "report")
        assert {"report.html", "decks.csv", "assessment.json"} <= {file.name for file in files}
