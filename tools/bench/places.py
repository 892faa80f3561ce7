"""Which later photo shows the place of an earlier one: recall at 1 and 5, by kind of evidence.

    tools/bench/run places                                  the demo library's second visits
    tools/bench/run places --out render-out                 a run of tools/render/run (first/, second/)
    tools/bench/run places --rounds FOLDER --out render-out whole rounds again (tools/bench/places_rounds.py)
    tools/bench/run places --long                           later photos of the other decks thrown in as well

Every photo with a partner of the same name at the deck's other visit is asked for it, in both directions;
the candidates are all photos of the deck at the other visit. The same view of the same part is the truth: the
renderer aimed at one place. Compared with chance (k of n, without looking) and with the order of capture
alone. Place words are left out unless a line says so: after a visit nobody has labeled the new photos yet.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

from triage.features import VectorStore, embed_many
from triage.library.store import sha256_of
from triage.matching import rank
from triage.matching.points import agreement, points_of
from triage.matching.rank import Sight, rank_places

ROOT = Path(__file__).resolve().parents[2]
ALL = ("look", "cells", "walk", "words", "points")
WAYS = {
    "order of capture": ("walk",),
    "whole photo": ("look",),
    "best cells": ("cells",),
    "both": ("look", "cells"),
    "local points": ("points",),
    "all but words": ("look", "cells", "walk", "points"),
    "all with words": ALL,
}


@dataclass(frozen=True)
class Shot:
    """A photo of the bench: its deck and visit, its name below the deck, file, time and place words."""

    deck: str
    visit: str
    name: str
    path: Path
    taken_at: str
    places: frozenset[str]


def shots_of(first: Path, second: Path) -> list[Shot]:
    """Read both visits of every deck that has two."""
    again = {folder.name for folder in second.iterdir() if folder.is_dir()}
    return [
        shot
        for visit, root in (("first", first), ("second", second))
        for deck in sorted(again)
        for shot in _of_deck(root / deck, deck, visit)
    ]


def _of_deck(folder: Path, deck: str, visit: str) -> list[Shot]:
    found = []
    for path in sorted(folder.rglob("*.jpg")):
        truth = _truth(path)
        places = frozenset(
            verdict["place"] for verdict in truth.get("verdicts", {}).values() if verdict.get("place")
        )
        name = path.relative_to(folder).as_posix()
        found.append(Shot(deck, visit, name, path, str(truth.get("taken_at", "")), places))
    return found


def _truth(path: Path) -> dict:
    beside = path.with_suffix(".json")
    if beside.is_file():
        return json.loads(beside.read_text())
    row = _collected().get(path)
    return row or {}


@lru_cache(maxsize=1)
def _collected() -> dict[Path, dict]:
    """The truth of the collected demo library, by file."""
    import csv

    found: dict[Path, dict] = {}
    for root in (ROOT / "sample_photos", ROOT / "sample_photos" / "second_visit"):
        for line in (root / "truth.jsonl").read_text().splitlines():
            row = json.loads(line)
            found[root / "photos" / row["photo"]] = {"taken_at": row["taken_at"], "verdicts": {}}
        with (root / "labels.csv").open(newline="") as stream:
            for number, row in enumerate(csv.DictReader(stream)):
                one = found.get(root / "photos" / row["photo"])
                if one is not None and row["place"]:
                    one["verdicts"][number] = {"place": row["place"]}
    return found


def sights_of(shots: Sequence[Shot], folder: Path) -> dict[Shot, Sight]:
    """Embed the photos and say where in its walk each was taken."""
    store = VectorStore(folder)
    shas = {shot: sha256_of(shot.path) for shot in shots}
    for _ in embed_many([(shas[shot], shot.path) for shot in shots], store, workers=1):
        pass
    found = {}
    for deck, visit in sorted({(shot.deck, shot.visit) for shot in shots}):
        walk = sorted((s for s in shots if (s.deck, s.visit) == (deck, visit)), key=lambda s: s.taken_at)
        for index, shot in enumerate(walk):
            sha = shas[shot]
            found[shot] = Sight(sha, store.get(sha), index / max(len(walk) - 1, 1), shot.places)
    return found


def ask(
    shots: Sequence[Shot], sights: dict[Shot, Sight], way: tuple[str, ...], strangers: bool
) -> list[tuple[int, int]]:
    """Return for each photo with a partner the partner's rank (from 1) and how many candidates there were."""
    paths = {sights[shot].sha: shot.path for shot in shots}
    found = []
    for shot in shots:
        others = [s for s in shots if s.visit != shot.visit and (strangers or s.deck == shot.deck)]
        partner = [s for s in others if s.deck == shot.deck and s.name == shot.name]
        if not partner:
            continue
        ranked = rank_places(
            sights[shot],
            [sights[other] for other in others],
            lambda sha: _points(paths[sha]),
            without=[kind for kind in ALL if kind not in way],
        )
        order = [one.sha for one in ranked]
        found.append((order.index(sights[partner[0]].sha) + 1, len(order)))
    return found


_points = lru_cache(maxsize=400)(points_of)


def report(title: str, shots: Sequence[Shot], sights: dict[Shot, Sight], strangers: bool) -> None:
    """Print recall at 1 and 5 by kind of evidence, beside chance."""
    print(f"\n{title}")
    print(f"{'evidence':<18} {'asked':>5} {'candidates':>10} {'at 1':>6} {'at 5':>6}")
    for name, way in WAYS.items():
        ranks = ask(shots, sights, way, strangers)
        if name == "order of capture":
            chance = [[min(k / n, 1) for _, n in ranks] for k in (1, 5)]
            _line("chance", ranks, *(sum(row) / len(ranks) for row in chance))
        _line(name, ranks, *(sum(rank <= k for rank, _ in ranks) / len(ranks) for k in (1, 5)))


def _line(name: str, ranks: list[tuple[int, int]], one: float, five: float) -> None:
    fewest, most = min(n for _, n in ranks), max(n for _, n in ranks)
    print(f"{name:<18} {len(ranks):>5} {f'{fewest}-{most}':>10} {one:>6.2f} {five:>6.2f}")


def by_chance(shots: Sequence[Shot]) -> None:
    """Print how many points of photos of two decks agree: what `points.PLANE_BY_CHANCE` rests on."""
    pairs = [(a, b) for a in shots for b in shots if a.visit < b.visit and a.deck != b.deck]
    found = [agreement(_points(a.path), _points(b.path)) for a, b in pairs]
    for what in ("in_plane", "in_scene"):
        counts = sorted(getattr(one, what) for one in found)
        middle, high = counts[len(counts) // 2], counts[int(len(counts) * 0.95)]
        print(
            f"{what} of {len(counts)} pairs of two decks: median {middle}, 95th percentile {high},"
            f" most {counts[-1]}"
        )


def main() -> None:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--out", type=Path, help="a folder of tools/render/run (default: sample_photos)")
    parser.add_argument("--rounds", type=Path, help="a folder of tools/bench/places_rounds.py")
    parser.add_argument("--long", action="store_true", help="with the photos of all decks as candidates")
    asked = parser.parse_args()
    rank.agreement = lru_cache(maxsize=None)(agreement)  # the same pair is asked for by several lines
    samples = ROOT / "sample_photos"
    first = asked.out / "first" if asked.out else samples / "photos"
    second = samples / "second_visit" / "photos"
    if asked.rounds or asked.out:
        second = (asked.rounds or asked.out) / "second"
    shots = shots_of(first, second)
    with TemporaryDirectory() as folder:
        sights = sights_of(shots, Path(folder))
        decks = len({shot.deck for shot in shots})
        report(f"{decks} decks, candidates: the deck's photos of the other visit", shots, sights, False)
        if asked.long:
            report("candidates: the photos of all these decks at the other visit", shots, sights, True)
            by_chance(shots)


if __name__ == "__main__":
    main()
