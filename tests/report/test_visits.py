"""A second visit in the report: what became of each concern, before and after side by side."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from common import draw_photo

from triage.assess import assess_library
from triage.assess.acts import close, lift
from triage.assess.said import warn
from triage.ingest import ingest
from triage.label.rows import give_labels
from triage.library import Library, queries
from triage.report import verify_report, write_repairs, write_report
from triage.report.repairs_sheet import EVENT


@pytest.fixture
def lib(tmp_path: Path) -> Iterator[Library]:
    with Library.create(tmp_path / "lib") as library:
        for visit, seed in (("2026-05-03", 1), ("2026-06-10", 50)):
            for number in range(3):
                draw_photo(tmp_path / visit / "birch-03" / f"{visit}_{number}.jpg", seed=seed + number)
            ingest(library, [tmp_path / visit], by="Ada Sample", visit=visit, engine="here")
        for photo, place in zip(
            queries.photos(library, "birch-03"), ("joist 2 of 9", "joist 5 of 9"), strict=False
        ):
            give_labels(library, [(photo, {"missing-hanger": "present"})], by="Ada Sample", place=place)
        yield library


def page(lib: Library, out: Path) -> str:
    write_report(lib, assess_library(lib), out, show_names=True)
    return (out / "record.html").read_text()


def test_both_visits_are_named_and_nothing_is_forgotten(lib: Library, tmp_path: Path) -> None:
    text = page(lib, tmp_path / "out")
    assert "Visit 2026-06-10 compared with 2026-05-03" in text
    assert text.count("not looked at again since an earlier visit; it stays open") >= 2


def test_a_closed_concern_shows_before_and_after(lib: Library, tmp_path: Path) -> None:
    (concern, *_) = [c for s in assess_library(lib) for c in s.concerns if c.place == "joist 2 of 9"]
    before = next(p for p in queries.photos(lib, "birch-03") if p.sha == concern.photos[0])
    after = queries.photos(lib, "birch-03")[-1]
    give_labels(lib, [(after, {"missing-hanger": "absent"})], by="Ada Sample", place="joist 2 of 9")
    give_labels(lib, [(after, {"shows-hanger": "present"})], by="Ada Sample", place="joist 2 of 9")
    close(
        lib,
        "birch-03",
        concern.rule,
        place="joist 2 of 9",
        before=before,
        after=after,
        why="Hanger fitted, all holes filled.",
        by="Ben Sample",
    )
    text = page(lib, tmp_path / "out")
    closed = text[text.index("Repaired and closed") : text.index("Photos behind the concerns")]
    pair = re.search(
        r"Before: photo (\d+)\. After: photo (\d+)\. Hanger fitted, all holes filled\. \(Ben Sample", closed
    )
    assert pair is not None
    part = text[text.index("Photos behind the concerns") : text.index("Visit 2026-06-10 compared")]
    for number in pair.groups():
        assert part.count(f"<strong>Photo {number}</strong>") == 1
    assert before.name in part
    assert after.name in part
    assert verify_report(lib, tmp_path / "out/report.html") == []


def test_the_record_of_a_stop_use_prints_who_was_told_and_who_lifted_it(lib: Library, tmp_path: Path) -> None:
    warn(lib, "birch-03", told="the owner", how="by telephone", at="2026-05-03T18:00", by="Ada Sample")
    give_labels(lib, [(queries.photos(lib, "birch-03")[-1], {"shows-ledger": "present"})], by="Ada Sample")
    lift(lib, "birch-03", why="Ledger bolted.", after=queries.photos(lib, "birch-03")[-1], by="Ben Sample")
    text = page(lib, tmp_path / "out")
    assert "Told: the owner, by telephone, May 3, 2026, 18:00 (recorded by Ada Sample)" in text
    assert "Lifted by Ben Sample" in text
    assert "Ledger bolted." in text


def test_what_the_crew_wrote_is_told_as_theirs(lib: Library, tmp_path: Path) -> None:
    assert write_repairs(lib, tmp_path / "crew.csv")["rows"] >= 1
    lib.say(
        EVENT,
        {
            "deck": "birch-03",
            "rule": "hanger-missing",
            "done": True,
            "count": 2,
            "day": None,
            "photo": None,
            "row": "r",
        },
        by="Ada Sample",
        private={"done_by": "Cara Sample", "place": "joist 5 of 9"},
    )
    text = page(lib, tmp_path / "out")
    assert "crew&#39;s sheet: &#39;hanger missing&#39; repaired in 2 places by Cara Sample" in text
