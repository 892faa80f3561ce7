"""Words as columns: the same as the library's own words, whatever the hashes look like."""

from __future__ import annotations

import contextlib

import numpy as np
import pytest
from small_libraries import add_labels

from triage.audit.columns import WORDS, PhotoCodes, read_columns
from triage.domain.acts import Refused
from triage.label.rows import settle
from triage.library import Library, queries

TAGS = ("rusted-connector", "missing-hanger")


@pytest.mark.parametrize(
    "shas",
    [
        [],
        ["ab" * 32],
        [f"{one:064x}" for one in range(300)],
        [f"{one * 7919:08x}" * 8 for one in range(300)],
        ["short", "ä" * 64],
    ],
)
def test_photos_are_found_by_their_hashes(shas: list[str]) -> None:
    codes = PhotoCodes(shas)
    asked = [sha[:16] if codes.short else sha for sha in reversed(shas)]
    assert codes.of(asked).tolist() == list(reversed(range(len(shas))))
    unknown = ["f" * (16 if codes.short else 64)] * 3
    assert codes.of(unknown).tolist() == [-1] * 3


def test_columns_are_the_librarys_words(library: Library, with_photos) -> None:
    shas = with_photos(5, 8)
    generator = np.random.default_rng(0)
    for name in ("ann", "ben", "cy"):
        rows = [
            (sha, tag, str(generator.choice(["present", "absent", "unclear"])), name)
            for sha in shas
            for tag in TAGS
            if generator.random() < 0.5
        ]
        add_labels(library, rows)
    for place in (3, 9, 27):
        with contextlib.suppress(Refused):  # nobody disagrees about this photo
            settle(
                library, queries.find_photo(library, shas[place]), TAGS[0], "absent", why="looked", by="dee"
            )
    add_labels(library, [(shas[9], TAGS[0], "present", "ann")])
    library.undo("ben")
    library.say("forgotten", {"sha": shas[5]}, by="ann")
    columns = read_columns(library)
    words, disputed = columns.put_together()
    ours = {
        (columns.photos[place], columns.tags[tag]): (WORDS[words[tag, place]], bool(disputed[tag, place]))
        for tag, place in zip(*np.nonzero(words), strict=True)
    }
    theirs = {
        key: (one.value, one.disputed) for key, one in queries.words(library).items() if key[0] != shas[5]
    }
    assert ours == theirs
    only = read_columns(library, [TAGS[1]])
    assert only.tags == [TAGS[1]]
    assert len(only.word) == sum(
        label.tag == TAGS[1] and label.photo != shas[5] for label in queries.labels(library)
    )
