"""Finished decks become a library: copies, labels, facts, truth, split; unfinished ones wait."""

import csv
import json
import tomllib
from pathlib import Path

import pytest
from deckscene import collect, job
from deckscene.errors import RenderError
from deckscene.truth import CORE_TAGS


def pretend(out: Path, deck: int, visit: str = "first", leave_out: int = 0) -> None:
    """Write photo and truth files of a deck as a run would leave them."""
    for i, params, plan in job.jobs(frozenset({f"deck-{deck:02d}"})):
        if plan[0].visit != visit:
            continue
        assert i == deck - 1
        for shot in plan[: len(plan) - leave_out]:
            path = job.place(out, shot)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(b"jpeg")
            verdicts = {
                tag: {"value": "absent", "boxes": [], "place": "", "count": None} for tag in CORE_TAGS
            }
            verdicts["missing-hanger"] = {
                "value": "present",
                "boxes": [[0.1, 0.2, 0.3, 0.4], [0.5, 0.5, 0.1, 0.1]],
                "place": "joist 4",
                "count": 2,
            }
            record = {
                "photo": f"{params.code}/{shot.name}",
                "deck": params.code,
                "taken_at": "2026-05-04T09:00:00-05:00",
            }
            path.with_suffix(".json").write_text(
                json.dumps(record | {"view": shot.view, "verdicts": verdicts})
            )


def test_finished_decks_are_collected_and_others_wait(tmp_path: Path) -> None:
    out, target = tmp_path / "run", tmp_path / "samples"
    pretend(out, 1)
    pretend(out, 4)
    pretend(out, 2, leave_out=1)
    pretend(out, 1, visit="second")
    decks, photos = collect.collect(out, target)
    assert decks == 2
    assert photos == len(list((target / "photos").rglob("*.jpg")))
    assert sorted(p.name for p in (target / "photos").iterdir()) == ["deck-01", "deck-04"]
    split = tomllib.loads((target / "split.toml").read_text())
    assert split == {"train": ["deck-01"], "presort": ["deck-04"]}
    facts = tomllib.loads((target / "facts.toml").read_text())["decks"]
    assert set(facts) == {"deck-01", "deck-04"}
    again = tomllib.loads((target / "second_visit" / "facts.toml").read_text())["decks"]
    assert list(again["deck-01"]["visits"].values())[0]["ledger_fastener"] == "half-inch-bolt"
    with (target / "labels.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert tuple(rows[0]) == collect.COLUMNS
    first = next(r for r in rows if r["tag"] == "missing-hanger")
    assert first["box"] == "0.1,0.2,0.3,0.4;0.5,0.5,0.1,0.1"
    assert first["count"] == "2"
    assert (target / "second_visit" / "photos" / "deck-01" / "hanger-1.jpg").is_file()
    truth = [json.loads(line) for line in (target / "truth.jsonl").read_text().splitlines()]
    assert len(truth) == photos
    assert all("verdicts" not in record for record in truth)


def test_nothing_finished_is_said(tmp_path: Path) -> None:
    with pytest.raises(RenderError, match="No deck is finished"):
        collect.collect(tmp_path / "run", tmp_path / "samples")
