"""The line itself on real photos, by its commands: average precision, ROC-AUC and Brier at few labels.

    tools/bench/run real [--sets screws boards] [--seeds 5] [--json FILE]

For each tag and each number n of labeled positives: half of the decks are held out, decks of the other half
are labeled in a random order until n positives are reached (their negatives come along, as in life), and the
commands `label read`, `train --tag`, `presort --json` run on a copy of a library that `new`, `tags add` and
`ingest` made. The figures are over the held-out decks, mean over seeds with the standard error; the plain
baseline (`tools/bench/baseline.py`) sees the same labels and the same held-out photos.
"""

from __future__ import annotations

import argparse
import csv
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tools.bench import baseline

SHARED = Path(os.environ.get("DECK_TRIAGE_SHARED", Path(__file__).resolve().parents[2].parent / "shared"))
COMMAND = str(Path(sys.executable).parent / "deck-triage")
POSITIVES = (10, 20, 40)
FLOORS = {
    ("screws", "screw-missing", 10): 0.986,
    ("screws", "screw-missing", 20): 0.995,
    ("screws", "two-or-more-missing", 10): 0.976,
    ("screws", "two-or-more-missing", 20): 0.976,
    ("boards", "dead-knot", 20): 0.932,
    ("boards", "dead-knot", 40): 0.951,
    ("boards", "resin", 20): 0.672,
}
"""Average precision measured before, whole photo for screws, cells with boxes for boards of other trees."""


@dataclass(frozen=True)
class Row:
    """One labeled photo of a set."""

    photo: str
    deck: str
    tag: str
    present: bool
    cells: dict[str, str]


def run(*words: object, library: Path) -> Any:
    """Run one command and return its JSON; any exit code but 0 and 3 ends the bench."""
    done = subprocess.run(
        [COMMAND, *map(str, words), "-L", str(library), "--json"], capture_output=True, text=True, check=False
    )
    if done.returncode not in (0, 3):
        sys.exit(f"deck-triage {' '.join(map(str, words))} ended with {done.returncode}:\n{done.stderr}")
    return json.loads(done.stdout)


def rows_of(folder: Path) -> list[Row]:
    """Return the labels of a set that are present or absent."""
    with (folder / "labels.csv").open(newline="") as file:
        return [
            Row(row["photo"], row["deck"], row["tag"], row["value"] == "present", row)
            for row in csv.DictReader(file)
            if row["value"] in ("present", "absent")
        ]


def make_library(folder: Path, rows: list[Row], at: Path) -> None:
    """Make a library of a set's photos with its tags, all vectors kept."""
    subprocess.run([COMMAND, "new", str(at)], check=True, capture_output=True)
    tags = sorted({row.tag for row in rows})
    text = "".join(
        f'[[tag]]\ntag = "{tag}"\nkind = "defect"\ndefinition = "{tag} of the set"\n' for tag in tags
    )
    (at.parent / "tags.toml").write_text(text)
    run("tags", "add", at.parent / "tags.toml", library=at)
    run("ingest", folder / "photos", library=at)
    run("embed", library=at)


def copy_library(source: Path, target: Path) -> None:
    """Copy a library; its photos and vectors are shared by hard links."""

    def link(one: str, other: str) -> None:
        if Path(one).suffix in (".sqlite", ".toml"):
            shutil.copy2(one, other)
        else:
            os.link(one, other)

    shutil.copytree(source, target, copy_function=link)


def split(rows: list[Row], n: int, seed: int) -> tuple[list[Row], list[Row]] | None:
    """Return (labeled, held out) by deck; null where the labeling half has fewer than n positives."""
    decks = sorted({row.deck for row in rows})
    order = np.random.default_rng(seed).permutation(len(decks))
    half = len(decks) // 2
    held = {decks[index] for index in order[:half]}
    labeled: list[Row] = []
    by_deck = defaultdict(list)
    for row in rows:
        by_deck[row.deck].append(row)
    for index in order[half:]:
        labeled += by_deck[decks[index]]
        if sum(row.present for row in labeled) >= n and any(not row.present for row in labeled):
            return labeled, [row for row in rows if row.deck in held]
    return None


def measure(
    library: Path, tag: str, labeled: list[Row], held: list[Row], work: Path
) -> dict[str, np.ndarray]:
    """Run the commands on a copy of the library and return held-out probabilities by photo."""
    copy = work / "copy"
    shutil.rmtree(copy, ignore_errors=True)
    copy_library(library, copy)
    with (work / "labels.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, list(labeled[0].cells))
        writer.writeheader()
        writer.writerows(row.cells for row in labeled)
    run("label", "read", work / "labels.csv", "--by", "bench", library=copy)
    trained = run("train", "--tag", tag, library=copy)
    decks = [word for deck in sorted({row.deck for row in held}) for word in ("--deck", deck)]
    said = run("presort", *decks, library=copy)
    found = {
        f"{photo['deck']}/{photo['name']}": one["probability"]
        for photo in said["photos"]
        for one in photo["suggestions"]
        if one["tag"] == tag
    }
    return {"found": found, "trained": trained["tags"][tag]}  # type: ignore[dict-item]


def figures(labels: np.ndarray, chances: np.ndarray) -> dict[str, float]:
    """Return average precision, ROC-AUC and Brier."""
    from sklearn.metrics import average_precision_score, brier_score_loss, roc_auc_score

    return {
        "average_precision": float(average_precision_score(labels, chances)),
        "roc_auc": float(roc_auc_score(labels, chances)),
        "brier": float(brier_score_loss(labels, chances)),
    }


def bench(name: str, seeds: int, work: Path) -> list[dict[str, Any]]:
    """Measure one set; returns a row per tag and number of positives."""
    folder = SHARED / "photos" / name
    rows = rows_of(folder)
    library = work / "library"
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir(parents=True)
    make_library(folder, rows, library)
    plain = {row.photo: None for row in rows}
    plain_features = {photo: baseline.features(folder / "photos" / photo) for photo in plain}
    table = []
    for tag in sorted({row.tag for row in rows}):
        mine = [row for row in rows if row.tag == tag]
        for n in POSITIVES:
            ours, theirs = [], []
            for seed in range(seeds):
                parts = split(mine, n, seed)
                if parts is None:
                    continue
                labeled, held = parts
                labels = np.array([row.present for row in held])
                if labels.all() or not labels.any():
                    continue
                done = measure(library, tag, labeled, held, work)
                if not done["found"]:
                    continue
                ours.append(figures(labels, np.array([done["found"][row.photo] for row in held])))
                chances = baseline.scores(
                    np.stack([plain_features[row.photo] for row in labeled]),
                    np.array([row.present for row in labeled]),
                    np.stack([plain_features[row.photo] for row in held]),
                )
                theirs.append(figures(labels, chances))
            table.append(summary(name, tag, n, mine, ours, theirs))
            show(table[-1])
    return table


def summary(
    name: str, tag: str, n: int, rows: list[Row], ours: list[dict[str, float]], theirs: list[dict[str, float]]
) -> dict[str, Any]:
    """Return means and standard errors over the seeds that could be run."""
    share = sum(row.present for row in rows) / len(rows)
    found: dict[str, Any] = {
        "set": name,
        "tag": tag,
        "positives": n,
        "share": round(share, 3),
        "seeds": len(ours),
    }
    for key in ("average_precision", "roc_auc", "brier"):
        for who, runs in (("line", ours), ("baseline", theirs)):
            values = np.array([one[key] for one in runs])
            found[f"{who}_{key}"] = round(float(values.mean()), 3) if len(values) else None
            error = float(values.std(ddof=1) / np.sqrt(len(values))) if len(values) > 1 else None
            found[f"{who}_{key}_error"] = None if error is None else round(error, 3)
    found["measured_before"] = FLOORS.get((name, tag, n))
    return found


def show(row: dict[str, Any]) -> None:
    """Print one row of the table."""
    if not row["seeds"]:
        print(f"| {row['set']} | {row['tag']} | {row['positives']} | too few | | | | |", flush=True)
        return
    error = row["line_average_precision_error"]
    print(
        f"| {row['set']} | {row['tag']} | {row['positives']} | {row['line_average_precision']:.3f}"
        f"{'' if error is None else f' ± {error:.3f}'} | {row['line_roc_auc']:.3f} | {row['line_brier']:.3f} "
        f"| {row['baseline_average_precision']:.3f} | {row['measured_before'] or ''} |",
        flush=True,
    )


def main() -> None:
    """Run the bench."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--sets", nargs="+", default=["screws", "boards"])
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--json", type=Path)
    parser.add_argument("--work", type=Path, default=Path(tempfile.gettempdir()) / "deck-triage-bench")
    options = parser.parse_args()
    print("| set | tag | positives | average precision | ROC-AUC | Brier | baseline AP | measured before |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    rows = [row for name in options.sets for row in bench(name, options.seeds, options.work / name)]
    if options.json:
        options.json.write_text(json.dumps(rows, indent=2))


if __name__ == "__main__":
    main()
