"""Puts finished decks together as a library of sample photos: labels, facts, truth, split."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from .design import is_presort
from .errors import RenderError
from .facts import facts, to_toml
from .job import finished, place
from .params import DeckParams
from .shots import FIRST, Shot, began

COLUMNS = (
    "photo",
    "deck",
    "tag",
    "value",
    "by",
    "at",
    "box",
    "place",
    "count",
    "asked_by",
    "saw_machine",
    "note",
)
#: Who the labels are by: nobody looked, they follow from the scene.
BY = "scene-truth"


def label_rows(record: dict[str, Any]) -> list[dict[str, str]]:
    """Rows of `labels.csv` of one photo."""
    rows = []
    for tag, verdict in record["verdicts"].items():
        boxes = ";".join(",".join(f"{v:g}" for v in box) for box in verdict["boxes"])
        rows.append(
            {
                "photo": record["photo"],
                "deck": record["deck"],
                "tag": tag,
                "value": verdict["value"],
                "by": BY,
                "at": record["taken_at"],
                "box": boxes,
                "place": verdict["place"],
                "count": "" if verdict["count"] is None else str(verdict["count"]),
                "asked_by": "deck",
                "saw_machine": "false",
                "note": "",
            }
        )
    return rows


def write_labels(path: Path, rows: Iterable[dict[str, str]]) -> None:
    """Write `labels.csv`."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def _copy(out: Path, photos: Path, plan: list[Shot]) -> list[dict[str, Any]]:
    records = []
    for shot in plan:
        source, target = place(out, shot), photos / shot.deck / shot.name
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source, target)
        records.append(json.loads(source.with_suffix(".json").read_text(encoding="utf-8")))
    return records


def _write(folder: Path, records: list[dict[str, Any]]) -> None:
    write_labels(folder / "labels.csv", (row for record in records for row in label_rows(record)))
    lines = [json.dumps({k: v for k, v in record.items() if k != "verdicts"}) for record in records]
    (folder / "truth.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")


def _decks_file(path: Path, done: list[tuple[int, DeckParams, list[Shot]]]) -> None:
    lines = [
        json.dumps({"deck": deck.code, "visit": plan[0].visit, "parameters": deck.to_json()})
        for _, deck, plan in done
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def split_text(codes: list[str]) -> str:
    """`split.toml`: which decks are for training, which for presorting."""
    groups = {
        "train": [c for c in codes if not is_presort(int(c[5:]) - 1)],
        "presort": [c for c in codes if is_presort(int(c[5:]) - 1)],
    }
    lines = ["# Decks to learn from (their labels are given) and decks to presort."]
    for name, members in groups.items():
        lines += [f"{name} = [", *(f'    "{code}",' for code in members), "]"]
    return "\n".join(lines) + "\n"


def collect(out: Path, target: Path) -> tuple[int, int]:
    """Copy every finished deck of a run to `target` and write its tables; gives back decks and photos.

    Raises:
        RenderError: no deck is finished.
    """
    done = finished(out)
    first = sorted((job for job in done if job[2][0].visit == FIRST), key=lambda job: job[0])
    if not first:
        raise RenderError(
            f"No deck is finished in {out}.",
            "Let tools/render/run go on; it takes decks one after the other.",
        )
    codes = [deck.code for _, deck, _ in first]
    later = [job for job in done if job[2][0].visit != FIRST and job[1].code in codes]
    for folder in (target / "photos", target / "second_visit"):
        shutil.rmtree(folder, ignore_errors=True)
    records = [r for _, _, plan in first for r in _copy(out, target / "photos", plan)]
    _write(target, records)
    if later:
        again = [r for _, _, plan in later for r in _copy(out, target / "second_visit" / "photos", plan)]
        _write(target / "second_visit", again)
        visits = {
            deck.code: {began(i, plan[0].visit).date().isoformat(): facts(deck)} for i, deck, plan in later
        }
        (target / "second_visit" / "facts.toml").write_text(to_toml({}, visits), encoding="utf-8")
    (target / "facts.toml").write_text(
        to_toml({deck.code: facts(deck) for _, deck, _ in first}), encoding="utf-8"
    )
    (target / "split.toml").write_text(split_text(codes), encoding="utf-8")
    _decks_file(target / "decks.jsonl", [*first, *later])
    return len(first), len(records)
