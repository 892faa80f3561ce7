"""Finished decks become a library: copies, labels, facts, truth, split; unfinished ones wait."""

import csv
import json
import shutil
import tomllib
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from deckscene import collect, decks, exif, job, renew
from deckscene.design import is_presort
from deckscene.errors import RenderError
from deckscene.facts import GIVING_AWAY
from deckscene.phone import PHONES
from deckscene.truth import CORE_TAGS
from PIL import Image

PHOTO = exif.encode(
    np.random.default_rng(1).integers(0, 256, (48, 64, 3), np.uint8),
    PHONES[0],
    exif.Moment(datetime(2026, 5, 4, 9, tzinfo=UTC), 0.0, -30.0),
    orientation=6,
)


def pretend(out: Path, deck: int, visit: str = "first", leave_out: int = 0) -> None:
    """Write photo and truth files of a deck as a run would leave them."""
    for i, params, plan in job.jobs(frozenset({f"deck-{deck:02d}"})):
        if plan[0].visit != visit:
            continue
        assert i == deck - 1
        for shot in plan[: len(plan) - leave_out]:
            path = job.place(out, shot)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(PHOTO)
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
    decks, photos, quality = collect.collect(out, target)
    assert quality is None
    assert all(path.read_bytes() == PHOTO for path in target.rglob("*.jpg"))
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
    sources = (target / "SOURCES.md").read_text()
    assert f"2 decks with {photos} photos, and 4 photos of second visits" in sources
    assert "kept as it was taken" in sources
    assert "$" not in sources


def test_photos_that_do_not_fit_are_compressed_again_at_the_best_quality_that_fits(tmp_path: Path) -> None:
    out, target = tmp_path / "run", tmp_path / "samples"
    pretend(out, 1)
    count = len(list(out.rglob("*.jpg")))
    most_bytes = int(count * (len(exif.compressed_again(PHOTO, 60)) + 2))
    _, _, quality = collect.collect(out, target, most_bytes)
    kept = [path for path in target.rglob("*.jpg")]
    assert quality is not None
    assert sum(path.stat().st_size for path in kept) <= most_bytes
    assert count * len(exif.compressed_again(PHOTO, quality + 1)) > most_bytes
    assert f"compressed again at quality {quality}," in (target / "SOURCES.md").read_text()
    before, after = (Image.open(BytesIO(data)) for data in (PHOTO, kept[0].read_bytes()))
    assert after.getexif()[0x0112] == 6
    assert dict(after.getexif().get_ifd(0x8825)) == dict(before.getexif().get_ifd(0x8825))
    assert after.size == before.size


def test_too_small_a_place_is_said_and_nothing_is_replaced(tmp_path: Path) -> None:
    out, target = tmp_path / "run", tmp_path / "samples"
    pretend(out, 1)
    collect.collect(out, target)
    with pytest.raises(RenderError, match="MB are given"):
        collect.collect(out, target, 100)
    assert list(target.rglob("*.jpg"))


def test_nothing_finished_is_said(tmp_path: Path) -> None:
    with pytest.raises(RenderError, match="No deck is finished"):
        collect.collect(tmp_path / "run", tmp_path / "samples")


SAMPLES = Path(__file__).parents[2] / "sample_photos"


def renewable(target: Path) -> None:
    """Copy what renewing reads of the sample photos, without the pictures."""
    target.mkdir()
    for name in ("labels.csv", "truth.jsonl", "decks.jsonl"):
        shutil.copy(SAMPLES / name, target / name)


def test_photos_rendered_anew_take_the_place_of_the_old_ones_and_the_others_stay(tmp_path: Path) -> None:
    out, target = tmp_path / "run", tmp_path / "samples"
    renewable(target)
    before = (target / "labels.csv").read_text().splitlines()
    pretend(out, 22)
    count = len(list(out.rglob("*.jpg")))
    assert renew.renew(out, target) == (1, count)
    assert len(list((target / "photos" / "deck-22").glob("*.jpg"))) == count
    after = (target / "labels.csv").read_text().splitlines()
    assert [row for row in after if "deck-22/" in row] != [row for row in before if "deck-22/" in row]
    assert sorted(row for row in after if "deck-22/" not in row) == sorted(
        row for row in before if "deck-22/" not in row
    )


def test_a_deck_that_moved_keeps_close_ups_only(tmp_path: Path) -> None:
    out, target = tmp_path / "run", tmp_path / "samples"
    renewable(target)
    pretend(out, 22)
    rows = [json.loads(line) for line in (target / "decks.jsonl").read_text().splitlines()]
    for row in rows:
        row["parameters"]["height_ft"] += 1.0 * (row["deck"] == "deck-15")
    (target / "decks.jsonl").write_text("\n".join(map(json.dumps, rows)) + "\n")
    with pytest.raises(RenderError, match="shows how high"):
        renew.renew(out, target)


def test_decks_to_presort_come_without_facts_that_give_their_defects_away() -> None:
    for code, values in renew.known_facts().items():
        told = set(values) & GIVING_AWAY
        assert not told if is_presort(int(code[5:]) - 1) else told


def test_the_demo_has_heights_from_one_to_twenty_two_feet() -> None:
    heights = [decks.deck(i).height_ft for i in range(48)]
    assert min(heights) < 1.5
    assert max(heights) == 22
    for low, high in ((0, 2.5), (2.5, 6), (6, 10), (10, 30)):
        assert sum(low < one <= high for one in heights) >= 2
