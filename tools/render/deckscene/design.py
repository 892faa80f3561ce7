"""The balanced plan of the library: which deck has which fault, wood, light and camera.

Every factor is a column of fixed counts; columns are shuffled against each other until no two of them are
associated, so that nothing can be guessed from the wood's colour or the weather.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

DECKS = 48
PRESORT_EVERY = 4  # decks 4, 8, 12 ... are for presorting
FAULTS = ("missing", "rusted", "nailed", "debris", "side_bolted")
PRESENT_IN_TRAIN, PRESENT_IN_PRESORT = 21, 6
#: Decks (by index) without any fault, photographed completely: 'nothing seen' has to occur.
SOUND = (5, 11, 26, 37)
#: Heights that differ from the draw (3.7 to 6.2 ft), by index, so that decks of every height class occur.
HEIGHTS_FT = {
    15: 1.2,
    8: 2.3,
    10: 2.3,
    32: 2.3,
    14: 2.4,
    21: 2.4,
    27: 2.4,
    31: 2.4,
    43: 2.4,
    3: 8.5,
    18: 9.0,
    23: 9.5,
    20: 11.0,
    17: 14.0,
    35: 15.0,
    1: 18.0,
    9: 22.0,
}
#: What people said or measured that no picture shows, by index: with it every tier occurs.
SAID: dict[int, dict[str, str | float | int | bool]] = {
    2: {"extra_load": "hot-tub"},
    6: {"post_probe_depth_in": 0.75},
    13: {"extra_load": "crowd"},
    17: {"extra_load": "hot-tub"},
    18: {"extra_load": "crowd"},
    22: {"band_probe_depth_in": 0.6},
    24: {"band_probe_depth_in": 0.5},
    25: {"post_probe_depth_in": 0.6},
    26: {"stair_light": False},
    30: {"post_probe_depth_in": 0.6},
    33: {"band_probe_depth_in": 0.8},
    37: {"hold_down_count": 0, "hold_down_capacity_lb": 0},
    42: {"extra_load": "crowd"},
    46: {"extra_load": "crowd"},
}
#: Decks so low that nobody gets a phone under them; they are photographed from above and from the side.
GROUND_HUGGING_FT = 1.5
FACTORS: dict[str, tuple[str, ...]] = {
    "species": ("southern-pine", "douglas-fir-larch", "hem-fir", "western-cedar"),
    "weather": ("fresh", "seasoned", "grey"),
    "light": ("sun", "low-sun", "overcast"),
    "phone": ("0", "1", "2"),
    "siding": ("white", "sage", "clay", "slate"),
    "look_alike": ("none", "tannin", "red-clay", "shadow", "cobweb", "lichen", "zinc-bloom"),
}


def is_presort(i: int) -> bool:
    """Whether deck number i (from 0) is one to presort."""
    return i % PRESORT_EVERY == PRESORT_EVERY - 1


def cramers_v(a: np.ndarray, b: np.ndarray) -> float:
    """Bias-corrected Cramer's V of two columns of level numbers, 0 to 1.

    Source: Bergsma (2013), J. Korean Stat. Soc. 42:323.
    """
    n, r, c = len(a), int(a.max()) + 1, int(b.max()) + 1
    table = np.bincount(a * c + b, minlength=r * c).reshape(r, c).astype(float)
    table = table[table.sum(1) > 0][:, table.sum(0) > 0]
    r, c = table.shape
    if min(r, c) < 2:
        return 0.0
    expected = table.sum(1, keepdims=True) * table.sum(0) / n
    phi2 = ((table - expected) ** 2 / expected).sum() / n
    corrected = max(0.0, phi2 - (r - 1) * (c - 1) / (n - 1))
    r_, c_ = r - (r - 1) ** 2 / (n - 1), c - (c - 1) ** 2 / (n - 1)
    return float(np.sqrt(corrected / (min(r_, c_) - 1)))


def worst_association(columns: dict[str, np.ndarray], rows: np.ndarray) -> tuple[float, str]:
    """The largest V of any two columns over some rows, and which two."""
    names = sorted(columns)
    pairs = [
        (cramers_v(columns[a][rows], columns[b][rows]), f"{a} and {b}")
        for i, a in enumerate(names)
        for b in names[i + 1 :]
    ]
    return max(pairs)


def _penalty(columns: dict[str, np.ndarray], name: str) -> float:
    total = 0.0
    for rows, weight in (
        (np.arange(DECKS), 1.0),
        (np.flatnonzero(~_presort_rows()), 1.0),
        (np.arange(24), 0.6),
    ):
        for other, column in columns.items():
            if other != name:
                v = cramers_v(columns[name][rows], column[rows])
                total += weight * (v**2 + 4 * max(0.0, v - 0.15))
    return total


def _presort_rows() -> np.ndarray:
    return np.array([is_presort(i) for i in range(DECKS)])


def _start(rng: np.random.Generator) -> dict[str, np.ndarray]:
    presort, sound = _presort_rows(), np.isin(np.arange(DECKS), SOUND)
    columns: dict[str, np.ndarray] = {}
    for name in FAULTS:
        column = np.zeros(DECKS, int)
        for rows, count in ((~presort, PRESENT_IN_TRAIN), (presort, PRESENT_IN_PRESORT)):
            column[rng.choice(np.flatnonzero(rows & ~sound), count, replace=False)] = 1
        columns[name] = column
    for name, levels in FACTORS.items():
        columns[name] = rng.permutation(np.arange(DECKS) % len(levels))
    return columns


@lru_cache(maxsize=4)
def _columns(seed: int, rounds: int) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(seed)
    columns, presort = _start(rng), _presort_rows()
    names = sorted(columns)
    for step in range(rounds):
        name = names[step % len(names)]
        i, j = rng.choice(DECKS, 2, replace=False)
        column = columns[name]
        fixed = name in FAULTS and (presort[i] != presort[j] or i in SOUND or j in SOUND)
        if fixed or column[i] == column[j]:
            continue
        before = _penalty(columns, name)
        column[[i, j]] = column[[j, i]]
        if _penalty(columns, name) > before:
            column[[i, j]] = column[[j, i]]
    return columns


def plan_columns(seed: int = 48, rounds: int = 900) -> dict[str, np.ndarray]:
    """Level numbers of every factor, one array of 48 each; the same seed gives the same plan."""
    return {name: column.copy() for name, column in _columns(seed, rounds).items()}
