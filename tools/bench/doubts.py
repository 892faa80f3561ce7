"""How many planted label errors stand first among the doubts, by whole photos alone and by cells too.

    tools/bench/run doubts [--out tools/bench/results/doubts.md]

For every tag of the real boards: ten labels are turned into their opposite (a turned `present` loses its
box), a model is trained on what is there now, all labels are ranked as `audit doubts` ranks them, and the
errors among the first tenth of the labels are counted; five draws make fifty errors.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import numpy as np

from tools.bench.arrays import Set, load_set
from triage.audit.doubting import chances
from triage.audit.left_out import Board, deck_folds, principal
from triage.train import TagModel, train_tags

ERRORS = 10
WAYS = ("whole photos", "cells too")


def turned(found: Set, tag: str, seed: int) -> tuple[list[str], np.ndarray, np.ndarray]:
    """Photos of a tag, what is said of them after ten errors, and which the errors are."""
    shas = sorted(found.labels[tag])
    truth = found.present(tag, shas) > 0
    wrong = np.zeros(len(shas), bool)
    wrong[np.random.default_rng([seed, len(tag)]).choice(len(shas), ERRORS, replace=False)] = True
    return shas, truth ^ wrong, wrong


def trained(found: Set, tag: str, shas: list[str], said: np.ndarray) -> TagModel:
    """A model of the labels with their errors, by the trainer itself."""
    labels = []
    for sha, present in zip(shas, said, strict=True):
        label = found.labels[tag][sha]
        same = present == (label.value == "present")
        value = "present" if present else "absent"
        labels.append(label if same else replace(label, value=value, boxes=()))
    photos = [(sha, found.decks[sha]) for sha in shas]
    model = train_tags(photos, labels, found.vectors.__getitem__, tags=[tag], promise_rate=0.001)[tag]
    assert isinstance(model, TagModel), model
    return model


def first_tenth(chance: np.ndarray, said: np.ndarray, wrong: np.ndarray) -> int:
    """How many of the errors stand in the first tenth of the list of doubts."""
    against = np.nan_to_num(np.where(said, 1 - chance, chance), nan=-1)
    return int(wrong[np.argsort(-against, kind="stable")[: round(len(said) / 10)]].sum())


def row(found: Set, tag: str, draws: int) -> str:
    """One line of the table."""
    shas = sorted(found.labels[tag])
    rows = principal(lambda index: np.stack([found.vectors[shas[one]].whole for one in index]), len(shas))
    decks = sorted({found.decks[sha] for sha in shas})
    fold = deck_folds(decks)[[decks.index(found.decks[sha]) for sha in shas]]
    board, every = Board(rows, fold), np.ones(len(shas), bool)
    counts = dict.fromkeys(WAYS, 0)
    for seed in range(draws):
        shas, said, wrong = turned(found, tag, seed)
        model = trained(found, tag, shas, said)
        cells = np.array([model.held_out[sha][0] for sha in shas])
        counts["whole photos"] += first_tenth(chances(board, said, every), said, wrong)
        counts["cells too"] += first_tenth(chances(board, said, every, cells), said, wrong)
    truth = int(found.present(tag, shas).sum())
    cells_of = " | ".join(f"{counts[way]} of {draws * ERRORS}" for way in WAYS)
    return f"| {tag} | {len(shas)} | {truth} | {cells_of} |"


def main() -> int:
    """Print the table, and write it where it was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--draws", type=int, default=5)
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    lines = [
        "# Planted label errors among the first tenth of the doubts",
        "",
        f"Command: `tools/bench/run doubts`. Data: `shared/photos/boards`; {given.draws} draws of {ERRORS} "
        "errors a tag. Chance alone finds a tenth of them.",
        "",
        f"| tag | labels | present | {' | '.join(WAYS)} |",
        f"|{' --- |' * (len(WAYS) + 3)}",
    ]
    print("\n".join(lines), flush=True)
    found = load_set("boards")
    for tag in sorted(found.labels):
        lines.append(row(found, tag, given.draws))
        print(lines[-1], flush=True)
    if given.out:
        given.out.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
