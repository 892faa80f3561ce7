"""How often an audit of a promise is wrong, by whole simulated audits, and the pooled variant beside it.

    tools/bench/run audit_level [--runs 1000] [--out tools/bench/results/audit.md]

Each run draws decks with the defect whose mean loss stands exactly at the promise (there 'above' is wrong) or
just beyond it (there 'within' is wrong), lays their photos into piles, answers them, and asks
`triage.audit.missed_tag.audit_tag` for its verdict: at the end, and with `early` after every deck. `pooled`
is the rule of before: all missed photos over all photos with the defect against the promise, with the error
of the binomial. Two more columns show how often a verdict comes when it is due: decks that lose nothing
('within' is right), and decks that lose three times what is promised ('above' is right). The intervals that
an audit prints beside its verdict are left out here: they take nearly all of the time and decide nothing.
"""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path

import numpy as np
from scipy import stats

from triage.audit import missed_tag
from triage.audit.missed_tag import PRESENT, UNCLEAR, DrawnDeck, Missed, Promised, Question, audit_tag

PROMISE = 0.05
KINDS = ("photo by photo", "all or nothing", "large decks are hard")
DECKS = (20, 80)
UNCLEAR_SHARE = 0.05
"""Share of the answers on the pile that say 'cannot tell'."""
Losses = tuple[np.ndarray, np.ndarray]


def losses(draw: np.random.Generator, decks: int, mean: float, kind: str) -> Losses:
    """Return how many photos with the defect each deck has, and how many of them the machine missed."""
    photos = draw.integers(1, 5, decks)
    if kind == "all or nothing":
        return photos, np.where(draw.random(decks) < mean, photos, 0)
    if kind == "large decks are hard":  # a tenth of the decks hold most photos and lose first
        large = draw.random(decks) < 0.10
        photos = np.where(large, 40, photos)
        share = draw.beta(mean * 20 + 1e-9, max((1 - mean * 10) * 2, 1e-9), decks)
        return photos, draw.binomial(photos, np.where(large, share, max(0.0, (mean - 0.1) / 0.9)))
    return photos, draw.binomial(photos, mean)


def question(draw: np.random.Generator, found: Losses, *, unclear: float) -> Question:
    """The drawn decks as an audit meets them: missed photos in the pile among absent ones, others outside."""
    decks = []
    for number, (photos, missed) in enumerate(zip(*found, strict=True)):
        absent = int(draw.integers(3, 9))
        words = np.concatenate(
            [np.full(missed, PRESENT), np.where(draw.random(absent) < unclear, UNCLEAR, 1)]
        )
        other = np.full(photos - missed, PRESENT)
        pile = [f"{number}-{place}" for place in range(len(words))]
        rest = [f"{number}-other-{place}" for place in range(len(other))]
        decks.append(DrawnDeck(f"D-{number}", pile, words.astype(np.uint8), rest, other.astype(np.uint8)))
    population = sum(len(one.pile_photos) for one in decks) * 10
    return Question("tag", "model", "7", decks, population, len(decks) * 10, 60, Promised(PROMISE, True))


def verdict(draw: np.random.Generator, decks: int, mean: float, kind: str, *, early: bool) -> str | None:
    """The verdict of one simulated audit."""
    # decks of which all photos of the defect were answered; unclear ones make the bounds wider, never wrong
    found: Missed = audit_tag(
        question(draw, losses(draw, decks, mean, kind), unclear=UNCLEAR_SHARE if not early else 0.0),
        early=early,
    )
    return found.verdict


def pooled(draw: np.random.Generator, decks: int, mean: float, kind: str) -> bool:
    """Whether the rule of before calls the promise contradicted."""
    photos, missed = losses(draw, decks, mean, kind)
    return bool(stats.binom.sf(missed.sum() - 1, photos.sum(), PROMISE) < 0.05)


def row(kind: str, decks: int, runs: int) -> str:
    """One line of the table."""
    draw = np.random.default_rng([KINDS.index(kind), decks])

    def share(word: str, mean: float, *, early: bool = False, times: int = runs) -> float:
        return sum(verdict(draw, decks, mean, kind, early=early) == word for _ in range(times)) / times

    wrong = [share("above", PROMISE), share("within", PROMISE + 1e-4)]
    wrong += [
        share("above", PROMISE, early=True, times=runs // 5),
        share("within", PROMISE + 1e-4, early=True, times=runs // 5),
    ]
    before = sum(pooled(draw, decks, PROMISE, kind) for _ in range(runs)) / runs
    right = [share("within", 0.0, times=runs // 5), share("above", 3 * PROMISE, times=runs // 5)]
    cells = " | ".join(f"{one:.3f}" for one in (*wrong, before, *right))
    return f"| {kind} | {decks} | {cells} |"


def table(runs: int) -> str:
    """The whole table."""
    heads = (
        "losses",
        "decks with the defect",
        "wrongly above",
        "wrongly within",
        "wrongly above, early",
        "wrongly within, early",
        "pooled rule wrongly above",
        "within, where nothing is lost",
        "above, at three times the promise",
    )
    lines = [f"| {' | '.join(heads)} |", f"|{' --- |' * len(heads)}"]
    for kind in KINDS:
        for decks in DECKS:
            lines.append(row(kind, decks, runs))
            print(lines[-1], flush=True)
    return "\n".join(lines) + "\n"


def main() -> int:
    """Run what was asked for and write or print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=1000)
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    missed_tag.mean_bounds = missed_tag.ratio_bounds = lambda *_args, **_options: (0.0, 1.0)  # type: ignore[assignment]
    text = (
        f"# How often an audit is wrong\n\nCommand: `tools/bench/run audit_level --runs {given.runs}`. "
        f"Measured: {date.today():%B %Y}. Data: simulated audits, {given.runs} per cell\n(a fifth for "
        f"`early` and the last two columns), promise {PROMISE:.0%}, verdicts at 95 %.\n\n"
    )
    text += table(given.runs)
    if given.out:
        given.out.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
