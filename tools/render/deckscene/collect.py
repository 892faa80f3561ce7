"""Puts finished decks together as a library of sample photos: labels, facts, truth, split."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable, Iterable
from pathlib import Path
from string import Template
from typing import Any

from . import exif
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
#: A deck of a run: its number, its parameters at that visit, its photos.
Job = tuple[int, DeckParams, list[Shot]]
#: The page that says where every file comes from, with places for the numbers.
SOURCES = Path(__file__).parents[1] / "SOURCES.template.md"
#: Who the labels are by: nobody looked, they follow from the scene.
BY = "scene-truth"
#: Below this JPEG quality blocks show; more photos than fit at it are refused.
LOWEST_QUALITY = 40


def label_rows(record: dict[str, Any], visit: bool = False) -> list[dict[str, str]]:
    """Rows of `labels.csv` of one photo, with the day of the visit where that is asked for."""
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
                **({"visit": record["taken_at"][:10]} if visit else {}),
            }
        )
    return rows


def write_labels(path: Path, rows: Iterable[dict[str, str]], visits: bool = False) -> None:
    """Write `labels.csv`; second visits say the day, because their photos are named as the first's are."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, (*COLUMNS, "visit") if visits else COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def best_quality(size_at: Callable[[int | None], int], most_bytes: int) -> int | None:
    """The quality that is kept: None for the one the photos have, else the best at which all fit.

    Raises:
        RenderError: they do not fit at the lowest quality either.
    """
    if size_at(None) <= most_bytes:
        return None
    low, high = LOWEST_QUALITY, 75
    if (smallest := size_at(low)) > most_bytes:
        raise RenderError(
            f"The photos need {smallest / 1e6:.1f} MB at JPEG quality {low}, "
            f"{most_bytes / 1e6:.1f} MB are given.",
            "Collect with a larger --most-mb, or fewer decks.",
        )
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if size_at(middle) <= most_bytes else (low, middle)
    return low


def _photo(path: Path, quality: int | None) -> bytes:
    data = path.read_bytes()
    return data if quality is None else exif.compressed_again(data, quality)


def _size_at(paths: list[Path]) -> Callable[[int | None], int]:
    return lambda quality: sum(len(_photo(path, quality)) for path in paths)


def _copy(out: Path, photos: Path, plan: list[Shot], quality: int | None) -> list[dict[str, Any]]:
    records = []
    for shot in plan:
        source, target = place(out, shot), photos / shot.deck / shot.name
        exif.save(target, _photo(source, quality))
        records.append(json.loads(source.with_suffix(".json").read_text(encoding="utf-8")))
    return records


def _write(folder: Path, records: list[dict[str, Any]], visits: bool = False) -> None:
    rows = (row for record in records for row in label_rows(record, visits))
    write_labels(folder / "labels.csv", rows, visits)
    lines = [json.dumps({k: v for k, v in record.items() if k != "verdicts"}) for record in records]
    (folder / "truth.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")


def _decks_file(path: Path, done: list[Job]) -> None:
    lines = [
        json.dumps({"deck": deck.code, "visit": plan[0].visit, "parameters": deck.to_json()})
        for _, deck, plan in done
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _sources(target: Path, first: list[Job], later: list[Job], quality: int | None) -> None:
    """Write `SOURCES.md`: where every file comes from, with this collection's numbers."""
    size_bytes = sum(path.stat().st_size for path in target.rglob("*.jpg"))
    text = Template(SOURCES.read_text(encoding="utf-8")).substitute(
        decks=len(first),
        photos=sum(len(plan) for _, _, plan in first),
        later=len(later),
        again=sum(len(plan) for _, _, plan in later),
        megabytes=f"{size_bytes / 1e6:.1f}",
        packed="kept as it was taken"
        if quality is None
        else f"then compressed again at quality {quality}, so that all decks fit",
    )
    (target / "SOURCES.md").write_text(text, encoding="utf-8")


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


def collect(out: Path, target: Path, most_bytes: int = 22_000_000) -> tuple[int, int, int | None]:
    """Copy every finished deck of a run to `target` and write its tables.

    Gives back decks, photos of first visits, and the JPEG quality that all were compressed to again so
    that they take at most `most_bytes` together (None: as they were taken).

    Raises:
        RenderError: no deck is finished, or the photos do not fit.
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
    shots = [place(out, shot) for _, _, plan in [*first, *later] for shot in plan]
    quality = best_quality(_size_at(shots), most_bytes)
    for folder in (target / "photos", target / "second_visit"):
        shutil.rmtree(folder, ignore_errors=True)
    records = [r for _, _, plan in first for r in _copy(out, target / "photos", plan, quality)]
    _write(target, records)
    if later:
        again = [
            r for _, _, plan in later for r in _copy(out, target / "second_visit" / "photos", plan, quality)
        ]
        _write(target / "second_visit", again, visits=True)
        visits = {
            deck.code: {began(i, plan[0].visit).date().isoformat(): facts(deck)} for i, deck, plan in later
        }
        (target / "second_visit" / "facts.toml").write_text(to_toml({}, visits), encoding="utf-8")
    (target / "facts.toml").write_text(
        to_toml({deck.code: facts(deck, telling=not is_presort(i)) for i, deck, _ in first}), encoding="utf-8"
    )
    (target / "split.toml").write_text(split_text(codes), encoding="utf-8")
    _decks_file(target / "decks.jsonl", [*first, *later])
    _sources(target, first, later, quality)
    return len(first), len(records), quality
