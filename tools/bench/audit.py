"""The four audits on 100,000 photos x 30 tags, and how many flipped labels are found.

python -m tools.bench.audit speed  makes a library of that size (about 4 GB on the disk, numbers only, no
pictures) and runs each audit in a process of its own: wall and processor seconds, peak memory.
python -m tools.bench.audit flips  flips 3, 5 and 10 % of true labels, at random and among look-alikes, and
counts which share stands in the first 5 and 10 % of the list, against looking in random order. Sets: the
invented demo photos and, where they are, the real photos beside the checkout (DECK_TRIAGE_SHARED).
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import resource
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from sqlalchemy.dialects import sqlite

from triage.audit import of_library
from triage.features.keep import store_of
from triage.features.store import pack
from triage.features.vectors import PhotoVectors
from triage.library import EventDraft, Library
from triage.library.tables import metadata

AUDITS = ("agree", "doubts", "sample", "missed")
MODEL = "bench" * 12 + "0000"
SECOND = 0.1
"""Share of the photos that a second person labels too."""


# ---- speed ------------------------------------------------------------------------------------------


def make_library(folder: Path, photos: int, tags: int, decks: int) -> None:
    """Fill the folded tables of a library directly: its event log stays short, which no audit reads."""
    names = [f"bench-{number:02d}" for number in range(tags)]
    with Library.create(folder) as library:
        blocks = "".join(
            f'[[tag]]\ntag = "{n}"\nkind = "defect"\ndefinition = "Invented."\n\n' for n in names
        )
        library.own_tags.write_text(blocks)
        library.say_many(
            [
                EventDraft("label", {"photo": "0" * 64, "tag": names[0], "value": "absent"}, who)
                for who in ("ann", "ben")
            ]
        )
        library.say("trained", {"model": MODEL, "tags": names}, by="ann")
        shas = [hashlib.sha256(f"photo {number}".encode()).hexdigest() for number in range(photos)]
        vectors = _make_vectors(library, shas)
    truth = (vectors @ np.random.default_rng(1).normal(size=(vectors.shape[1], tags))).T
    truth = truth > np.quantile(truth, 0.95, axis=1)[:, None]
    database = sqlite3.connect(folder / "library.sqlite")
    database.execute("PRAGMA synchronous=OFF")
    indexes = [
        (row[0], row[1])
        for row in database.execute("SELECT name, sql FROM sqlite_master WHERE type='index' AND sql NOT NULL")
    ]
    for name, _ in indexes:
        database.execute(f'DROP INDEX "{name}"')
    refs = dict(database.execute("SELECT text, ref FROM private"))
    _insert(database, "photo", _photo_rows(shas))
    _insert(database, "placing", _placing_rows(shas, decks, refs["ann"]))
    _insert(database, "label", _label_rows(shas, names, truth, refs))
    _insert(database, "suggestion", _suggestion_rows(shas, names, truth))
    for _, sql in indexes:
        database.execute(sql)
    database.commit()
    database.close()


def _insert(database: sqlite3.Connection, table: str, rows: Iterator[dict[str, object]]) -> None:
    target = metadata.tables[table]
    statement = str(target.insert().compile(dialect=sqlite.dialect(paramstyle="named")))
    blank = dict.fromkeys(column.name for column in target.columns)
    database.executemany(statement, (blank | row for row in rows))


def _order(key: str, ref: str) -> dict[str, object]:
    digest = hashlib.sha256(key.encode()).hexdigest()
    return {
        "event": digest,
        "act": digest[:32],
        "by_ref": ref,
        "at": "2026-05-01T10:00:00",
        "lamport": 1,
        "log_id": digest[:32],
        "seq": 1,
        "undone": False,
        "current": True,
        "key": key,
    }


def _photo_rows(shas: list[str]) -> Iterator[dict[str, object]]:
    for sha in shas:
        yield {
            "sha": sha,
            "bytes": 4_000_000,
            "width": 4032,
            "height": 3024,
            "orientation": 1,
            "suffix": ".jpg",
            "quality": "{}",
            "state": "here",
        }


def _placing_rows(shas: list[str], decks: int, ref: str) -> Iterator[dict[str, object]]:
    for number, sha in enumerate(shas):
        yield _order(sha, ref) | {"sha": sha, "deck": f"D-{number % decks}", "name": f"{number}.jpg"}


def _label_rows(
    shas: list[str], names: list[str], truth: np.ndarray, refs: dict[str, str]
) -> Iterator[dict[str, object]]:
    flips = np.random.default_rng(2).random((2, *truth.shape)) < 0.03
    for tag, name in enumerate(names):
        for place, sha in enumerate(shas):
            for person, who in enumerate(("ann", "ben")):
                if person and place % round(1 / SECOND):
                    continue
                value = "present" if truth[tag, place] ^ flips[person, tag, place] else "absent"
                yield _order(f"{sha}|{name}|{refs[who]}", refs[who]) | {
                    "photo": sha,
                    "tag": name,
                    "value": value,
                    "boxes": "[]",
                    "asked_by": "deck",
                    "saw_machine": False,
                }


def _suggestion_rows(shas: list[str], names: list[str], truth: np.ndarray) -> Iterator[dict[str, object]]:
    chance = np.random.default_rng(3).random(truth.shape)
    for tag, name in enumerate(names):
        for place, sha in enumerate(shas):
            present = truth[tag, place]
            pile = (
                "likely"
                if present and chance[tag, place] > 0.1
                else "unsure"
                if chance[tag, place] < 0.02
                else "unlikely"
            )
            yield {
                "photo": sha,
                "tag": name,
                "model": MODEL,
                "score": 0.0,
                "probability": 0.1,
                "pile": pile,
                "places": "[]",
            }


def _make_vectors(library: Library, shas: list[str]) -> np.ndarray:
    """Vectors of the real length with 40 directions that carry something; returns those directions."""
    store = store_of(library)
    generator = np.random.default_rng(0)
    axes = generator.normal(size=(40, store.recipe.whole_dim)).astype(np.float32)
    hidden = generator.normal(size=(len(shas), 40)).astype(np.float32)
    cells = np.zeros((1, 1, store.recipe.cell_dim), np.uint8)
    scale = np.ones(store.recipe.cell_dim, np.float32)
    for shard in range(256):
        (store.folder / f"{shard:02x}").mkdir(parents=True, exist_ok=True)
    for sha, row in zip(shas, hidden, strict=True):
        whole = row @ axes
        whole /= np.linalg.norm(whole)
        vectors = PhotoVectors(whole, cells, scale, scale, store.recipe.sha)
        store.path(sha).write_bytes(pack(sha, vectors))
    return hidden


def run_one(audit: str, folder: Path) -> dict[str, object]:
    """Run one audit on the library and measure it; the model card's promise is pretended (5 %)."""
    from triage.audit import agree, doubts, missed, sample

    of_library._promises = lambda library: {}
    wall, cpu = time.perf_counter(), time.process_time()
    with Library.open(folder) as library:
        if audit == "agree":
            found = agree(library)
            said = f"alpha {found['overall'].alpha:.3f}, {len(found) - 1} tags"
        elif audit == "doubts":
            ranked = doubts(library)
            said = f"{ranked.compared} labels compared, worst {ranked.ranked[0].contradiction:.3f}"
        elif audit == "sample":
            drawn = sample(library, seed="1", by="strata")
            said = f"{drawn.n} of {drawn.population}, {len(drawn.strata)} strata"
        else:
            audits = missed(library, 385, seed="1", record=False)
            said = f"{len(audits)} tags, {sum(one.defects for one in audits.values())} defects drawn"
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {
        "audit": audit,
        "wall_s": round(time.perf_counter() - wall, 2),
        "cpu_s": round(time.process_time() - cpu, 2),
        "peak_mib": round(peak),
        "said": said,
    }


def speed(photos: int, tags: int, decks: int, folder: Path | None) -> list[dict[str, object]]:
    """Make the library (or use the one in `folder`) and run every audit in its own process."""
    keep = folder is not None
    folder = folder or Path(tempfile.mkdtemp(prefix="audit-bench-")) / "library"
    results = []
    try:
        if not folder.exists():
            began = time.perf_counter()
            make_library(folder, photos, tags, decks)
            print(f"library made in {time.perf_counter() - began:.0f} s", file=sys.stderr)
        for audit in AUDITS:
            command = [sys.executable, "-m", "tools.bench.audit", "one", audit, "--folder", str(folder)]
            out = subprocess.run(
                command, check=True, capture_output=True, text=True, cwd=Path(__file__).parents[2]
            )
            results.append(json.loads(out.stdout))
            print(json.dumps(results[-1]), file=sys.stderr)
    finally:
        if not keep:
            shutil.rmtree(folder.parent, ignore_errors=True)
    return results


# ---- flips ------------------------------------------------------------------------------------------


def flip(
    truth: np.ndarray, rows: np.ndarray, deck: np.ndarray, share: float, how: str, seed: int
) -> np.ndarray:
    """Return which labels are flipped: any, or those that look like the other kind at other decks."""
    generator = np.random.default_rng(seed)
    count = max(1, round(share * len(truth)))
    if how == "random":
        places = generator.choice(len(truth), count, replace=False)
    else:
        apart = ((rows[:, None, :] - rows[None, :, :]) ** 2).sum(axis=2) if len(rows) < 1500 else _apart(rows)
        apart[deck[:, None] == deck[None, :]] = np.inf
        other = np.where(truth[:, None] != truth[None, :], apart, np.inf).min(axis=1)
        same = np.where(truth[:, None] == truth[None, :], apart, np.inf).min(axis=1)
        likest = np.argsort(other / np.maximum(same, 1e-9))[: 3 * count]
        places = generator.choice(likest, min(count, len(likest)), replace=False)
    flipped = np.zeros(len(truth), bool)
    flipped[places] = True
    return flipped


def _apart(rows: np.ndarray) -> np.ndarray:
    length = (rows**2).sum(axis=1)
    return np.asarray(length[:, None] + length[None, :] - 2 * rows @ rows.T)


def found_share(
    rows: np.ndarray, truth: np.ndarray, deck: np.ndarray, flipped: np.ndarray
) -> tuple[float, float]:
    """Share of the flips in the first 5 and 10 % of the list of doubts, as `audit doubts` ranks."""
    from triage.audit.doubting import chances
    from triage.audit.left_out import Board, deck_folds

    said = truth ^ flipped
    folds = deck_folds([str(one) for one in range(deck.max() + 1)])[deck]
    chance = chances(Board(rows, folds), said, np.ones(len(said), bool))
    against = np.nan_to_num(np.where(said, 1 - chance, chance), nan=-1)
    order = np.argsort(-against, kind="stable")
    first = [order[: max(1, round(part * len(order)))] for part in (0.05, 0.10)]
    return float(flipped[first[0]].sum() / flipped.sum()), float(flipped[first[1]].sum() / flipped.sum())


def flips(repeats: int) -> list[dict[str, object]]:
    """Measure every set x tag x share x way of flipping."""
    from tools.bench.audit_sets import sets

    results = []
    for name, rows, truth, deck in sets():
        for how in ("random", "look-alike"):
            for share in (0.03, 0.05, 0.10):
                found = [
                    found_share(rows, truth, deck, flip(truth, rows, deck, share, how, seed))
                    for seed in range(repeats)
                ]
                five, ten = np.mean(found, axis=0)
                results.append(
                    {
                        "set": name,
                        "labels": len(truth),
                        "present": int(truth.sum()),
                        "flipped": share,
                        "how": how,
                        "first_5_percent": round(float(five), 3),
                        "first_10_percent": round(float(ten), 3),
                        "random_order": [0.05, 0.10],
                    }
                )
                print(json.dumps(results[-1]), file=sys.stderr)
    return results


def main() -> int:
    """Run what was asked for and print JSON."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", choices=["speed", "flips", "one"])
    parser.add_argument("audit", nargs="?", choices=AUDITS)
    parser.add_argument("--photos", type=int, default=100_000)
    parser.add_argument("--tags", type=int, default=30)
    parser.add_argument("--decks", type=int, default=3000)
    parser.add_argument("--repeats", type=int, default=10)
    parser.add_argument("--folder", type=Path, help="keep the library here, and use it when it is there")
    given = parser.parse_args()
    os.environ.pop("DECK_TRIAGE_DATABASE", None)
    if given.what == "one":
        result: object = run_one(given.audit, given.folder)
    elif given.what == "speed":
        result = speed(given.photos, given.tags, given.decks, given.folder)
    else:
        result = flips(given.repeats)
    print(json.dumps(result, indent=1))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
