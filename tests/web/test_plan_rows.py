"""The plan on the first screen: three lists, who was told, by when."""

from __future__ import annotations

from pathlib import Path

import pytest
from common import draw_photo

from triage.assess.acts import set_tier
from triage.assess.cache.lines import standings
from triage.assess.said import add_finding, set_private, warn
from triage.ingest import ingest
from triage.library import Library
from triage.report.plan import height_words
from triage.structure.telling import set_facts
from triage.web.plan_rows import FIRST, plan_lists


@pytest.fixture
def lib(tmp_path: Path):
    for number in range(FIRST + 3):
        draw_photo(tmp_path / "photos" / f"birch-{number}" / "a.jpg", seed=number)
    with Library.create(tmp_path / "lib") as library:
        ingest(library, [tmp_path / "photos"], by="Ada Sample", visit="2026-05-03", engine="here")
        yield library


def test_a_stop_leads_the_plan_and_says_that_nobody_was_told(lib: Library) -> None:
    add_finding(lib, "birch-1", tier="repair-before-use", text="The beam is split.", by="Ada Sample")
    set_tier(lib, "birch-2", "stop-use", why="It leans.", by="Ada Sample")
    set_private(lib, "birch-2", {"due": "2026-06-01"}, by="Ada Sample")
    danger, look = plan_lists(lib, standings(lib).lines)
    assert (danger["title"], danger["total"]) == ("Close or repair first", 2)
    first, second = danger["rows"]
    assert (first["deck"], first["untold"], first["due"]) == ("birch-2", True, "June 1, 2026")
    assert (second["deck"], second["untold"]) == ("birch-1", False)
    assert look["title"] == "Go and see"
    assert look["total"] == FIRST + 1
    assert len(look["rows"]) == FIRST
    warn(lib, "birch-2", told="the owner", how="by telephone", at="2026-05-03T18:00", by="Ada Sample")
    first = plan_lists(lib, standings(lib).lines)[0]["rows"][0]
    assert (first["untold"], first["told"]) == (False, "the owner, May 3, 2026, 18:00")


def test_no_deck_no_plan(tmp_path: Path) -> None:
    with Library.create(tmp_path / "empty") as library:
        assert plan_lists(library, []) == []


@pytest.mark.parametrize("height_ft", [2.5, 2.52, 2.6, 6.0, 6.1, 10.0, 10.1, None])
def test_the_class_of_the_height_is_the_assessed_one(lib: Library, height_ft: float | None) -> None:
    """One table says where a class of fall ends, for the tier as for the words beside it."""
    if height_ft is not None:
        set_facts(lib, "birch-1", {"height_above_grade_ft": height_ft}, by="Ada Sample")
    set_tier(lib, "birch-1", "stop-use", why="It leans.", by="Ada Sample")
    kept = standings(lib)
    assessed = next(one for one in kept.summaries() if one["deck"] == "birch-1")["height_class"]
    row = next(one for one in plan_lists(lib, kept.lines)[0]["rows"] if one["deck"] == "birch-1")
    assert row["height"] == height_words(assessed)
