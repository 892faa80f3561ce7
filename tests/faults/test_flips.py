"""A flipped byte anywhere in a library's folder is found by `verify`, or harmless for a reason stated here.

Forty flips in the everyday run, five hundred with `tools/test --long`. Harmless are: a byte of a cache (made
again, or never evidence: an issued report shows what the checked originals show), a byte that no row of the
database reads (free space, an index that SQLite checks by itself), and a byte of a comment or a time in
`library.toml` that nothing reads. What is derived and not compared here: the numbers of suggestions and kept
assessments (both are made again: `presort --again`, `verify --mend`).
"""

import random
import shutil
import sqlite3
from contextlib import closing

import pytest
from long_runs import LONG

from triage.assess.cache.lines import standings
from triage.errors import TriageError
from triage.imaging.kept import rendition_of
from triage.label.rows import give_labels
from triage.library import Library, queries
from triage.library.records import Suggestion
from triage.library.suggestions import keep_suggestions
from triage.library.verify import verify, verify_folder

FLIPS = 500 if LONG else 40
DERIVED = ("standing", "standing_summary", "job", "suggestion", "meta")
"""Tables whose rows are made again from others; `verify` looks at them in its own ways."""


@pytest.fixture
def filled(library):
    """A library with words, texts, suggestions, kept assessments and caches."""
    for photo in queries.photos(library):
        give_labels(
            library,
            [(photo, {"missing-hanger": "present"})],
            by="ann",
            place="joist 3",
            note="seen from below",
        )
        rendition_of(library, photo.sha)
    rows = [
        Suggestion(one.sha, "rusted-connector", "m" * 64, 0.1, 0.2, "unsure")
        for one in queries.photos(library)
    ]
    keep_suggestions(library, rows)
    library.say("deck-set", {"deck": "D-17", "field": "address"}, by="ann", private={"text": "9 Nowhere"})
    standings(library)
    library.close()
    return library


def rows_of(folder):
    """Return every row of the tables that hold the truth and its folds, or null where they cannot be read."""
    try:
        with closing(sqlite3.connect(folder / "library.sqlite")) as opened:
            names = [
                name
                for (name,) in opened.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
                if name not in DERIVED
            ]
            return {name: sorted(map(repr, opened.execute(f'SELECT * FROM "{name}"'))) for name in names}  # noqa: S608
    except sqlite3.Error:
        return None


def test_every_flip_is_found_or_harmless(filled, tmp_path):
    before = rows_of(filled.path)
    draw = random.Random(20)
    outcomes = {"found": 0, "cache": 0, "nothing reads it": 0}
    for number in range(FLIPS):
        copy = tmp_path / f"flip-{number}"
        shutil.copytree(filled.path, copy)
        files = sorted(path for path in copy.rglob("*") if path.is_file() and path.stat().st_size)
        place = "library.sqlite" if number % 2 else str(draw.choice(files).relative_to(copy))
        flip(copy / place, draw)
        found = check(copy)
        if found:
            outcomes["found"] += 1
        elif place.startswith("cache/"):
            outcomes["cache"] += 1
        else:
            assert not place.startswith("originals/"), place
            assert place == "library.toml" or rows_of(copy) == before, (number, place)
            outcomes["nothing reads it"] += 1
        shutil.rmtree(copy)
    print(outcomes)
    assert outcomes["found"] > FLIPS // 4


def flip(path, draw):
    path.chmod(0o600)
    data = bytearray(path.read_bytes())
    data[draw.randrange(len(data))] ^= 1 << draw.randrange(8)
    path.write_bytes(data)


def check(folder):
    """Return what `verify` names, as the command does it; anything but a `TriageError` fails the test."""
    try:
        with Library.open(folder) as library:
            found = verify(library)
    except TriageError as error:
        found = verify_folder(folder, str(error))
    return [*found.damaged, *found.missing, *found.strays]
