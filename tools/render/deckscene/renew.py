"""Puts decks that were rendered anew into a library of sample photos that is there; the other photos stay."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from . import exif
from .collect import COLUMNS, _decks_file, _photo, label_rows, write_labels
from .decks import SECOND_VISITS, deck, deck_code
from .design import DECKS, is_presort
from .errors import RenderError
from .facts import facts, to_toml
from .job import is_done, place
from .shots import FIRST, Shot, second_visit, shots
from .units import FT

#: Close-ups without the ground: nothing in them tells how high the deck is.
KEPT_VIEWS = frozenset({"hanger-near", "hanger-far", "ledger-below", "flashing-above"})


def known_facts() -> dict[str, dict[str, Any]]:
    """The facts that come with each deck: those to presort without what would give their defects away."""
    return {deck_code(i): facts(deck(i), telling=not is_presort(i)) for i in range(DECKS)}


def renew(out: Path, target: Path, quality: int = 48) -> tuple[int, int]:
    """Put the photos of a run in the place of those in `target`; gives back how many decks and photos.

    A deck's other photos stay where nothing in them changes (close-ups below and above the boards); their
    cameras move with the deck. Facts and parameters of all decks are written from the plan.

    Raises:
        RenderError: nothing rendered, no collection in `target`, or a kept photo would show the ground.
    """
    if not (target / "truth.jsonl").is_file():
        raise RenderError(f"{target} holds no sample photos.", "Collect a whole run first, with --collect.")
    new = {f"{shot.deck}/{shot.name}": place(out, shot) for shot in _plan() if is_done(out, shot)}
    if not new:
        raise RenderError(f"Nothing was rendered in {out}.", "Let tools/render/run go on.")
    truth = {one["photo"]: one for one in map(json.loads, _lines(target / "truth.jsonl"))}
    with (target / "labels.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    moved = _moves(target)
    plan = {f"{shot.deck}/{shot.name}": shot for shot in _plan()}
    records = [_record(name, shot, new, truth, moved) for name, shot in plan.items()]
    kept = [row for row in rows if row["photo"] in plan and row["photo"] not in new]
    for name, source in new.items():
        exif.save(target / "photos" / name, _photo(source, quality))
        kept += label_rows(json.loads(source.with_suffix(".json").read_text(encoding="utf-8")))
    for name in truth.keys() - plan.keys():
        (target / "photos" / name).unlink(missing_ok=True)
    order = {name: number for number, name in enumerate(plan)}
    kept.sort(key=lambda row: order[row["photo"]])
    write_labels(target / "labels.csv", ({name: row[name] for name in COLUMNS} for row in kept))
    (target / "truth.jsonl").write_text("\n".join(map(json.dumps, records)) + "\n", encoding="utf-8")
    write_tables(target)
    return len({name.split("/")[0] for name in new}), len(new)


def _plan() -> Iterator[Shot]:
    for i in range(DECKS):
        yield from shots(i)


def _lines(path: Path) -> list[str]:
    return path.read_text(encoding="utf-8").splitlines()


def _moves(target: Path) -> dict[str, float]:
    """How far each deck's floor moved up since `target` was collected, in metres."""
    rows = [json.loads(line) for line in _lines(target / "decks.jsonl")]
    before = {row["deck"]: row["parameters"]["height_ft"] for row in rows if row["visit"] == FIRST}
    return {deck_code(i): (deck(i).height_ft - before[deck_code(i)]) * FT for i in range(DECKS)}


def _record(
    name: str,
    shot: Shot,
    new: Mapping[str, Path],
    truth: Mapping[str, dict[str, Any]],
    moved: Mapping[str, float],
) -> dict[str, Any]:
    """The truth of one photo, from this run or as it was with the camera moved."""
    if name in new:
        record = json.loads(new[name].with_suffix(".json").read_text(encoding="utf-8"))
        return {key: value for key, value in record.items() if key != "verdicts"}
    rise = moved[shot.deck]
    record = truth[name]
    if rise and shot.view not in KEPT_VIEWS:
        raise RenderError(f"{name} shows how high the deck is.", "Render it anew first.")
    camera = record["camera"]
    for key in ("eye_m", "target_m"):
        x, y, z = camera[key]
        camera[key] = [x, y, round(z + rise, 4)]
    return record


def write_tables(target: Path) -> None:
    """Write the decks' parameters and facts of the whole plan."""
    first = [(i, deck(i), shots(i)) for i in range(DECKS)]
    later = [(i, *second_visit(i)) for i in SECOND_VISITS]
    _decks_file(target / "decks.jsonl", [*first, *later])
    (target / "facts.toml").write_text(to_toml(known_facts()), encoding="utf-8")
