"""Do people agree? Observed agreement, Cohen's kappa and Krippendorff's alpha, as pure functions.

Sources: J. Cohen, A coefficient of agreement for nominal scales, Educational and Psychological
Measurement 20 (1960) 37-46; K. Krippendorff, Computing Krippendorff's Alpha-Reliability (2011).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from triage.errors import BadInput

LEVELS = ("nominal", "ordinal", "interval", "ratio")
Floats = NDArray[np.float64]


def cohen_kappa(table: ArrayLike) -> float:
    """Return Cohen's kappa of a square table of counts (rows: one person, columns: the other).

    Raises BadInput for a table that is not square, is empty, or where chance alone agrees always
    (both said one and the same value throughout).
    """
    counts = np.asarray(table, dtype=float)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1]:
        raise BadInput("kappa needs a square table of counts")
    total = counts.sum()
    if total <= 0:
        raise BadInput("no photo was labeled by both people")
    observed = np.trace(counts) / total
    chance = float(counts.sum(0) @ counts.sum(1)) / total**2
    if chance >= 1.0:
        raise BadInput(
            "both people gave the same single answer throughout; agreement beyond chance is unknown"
        )
    return float((observed - chance) / (1.0 - chance))


def coincidences(counts: ArrayLike) -> Floats:
    """Return each unit's coincidences, shape (units, values, values).

    `counts` has shape (units, values): how many people gave each value to the unit. A unit with m >= 2
    values adds n_c (n_k - [c = k]) / (m - 1); a unit with fewer adds nothing (Krippendorff 2011, part C).
    """
    n = np.asarray(counts, dtype=float)
    m = n.sum(axis=1)
    weight = np.divide(1.0, m - 1.0, out=np.zeros_like(m), where=m >= 2)
    pairs: Floats = n[:, :, None] * n[:, None, :]
    diagonal = np.arange(n.shape[1])
    pairs[:, diagonal, diagonal] -= n
    pairs *= weight[:, None, None]
    return pairs


def _differences(margins: Floats, level: str, values: Floats) -> Floats:
    """Squared differences between values, shape (..., values, values), by level of measurement."""
    if level == "nominal":
        return np.broadcast_to(1.0 - np.eye(len(values)), (*margins.shape, len(values)))
    if level == "ordinal":
        upto = np.cumsum(margins, axis=-1) - margins / 2.0
        return np.asarray((upto[..., :, None] - upto[..., None, :]) ** 2)
    apart = values[:, None] - values[None, :]
    if level == "ratio":
        both = np.abs(values[:, None] + values[None, :])
        apart = np.divide(apart, both, out=np.zeros_like(apart), where=both > 0)
    return np.broadcast_to(apart**2, (*margins.shape, len(values)))


def alphas(matrix: ArrayLike, level: str = "nominal", values: ArrayLike | None = None) -> Floats:
    """Return Krippendorff's alpha of summed coincidences, shape (...,) for a `matrix` (..., values, values).

    NaN where it is undefined (no pairs, or one value only): for resampling; `alpha_of` says it in words.
    `values` are the numbers behind the columns (interval, ratio); their order is used for ordinal.
    """
    if level not in LEVELS:
        raise BadInput(f"level {level!r} is not one of {', '.join(LEVELS)}")
    o = np.asarray(matrix, dtype=float)
    size = o.shape[-1]
    numbers = np.arange(size, dtype=float) if values is None else np.asarray(values, dtype=float)
    margins = o.sum(axis=-1)
    n = margins.sum(axis=-1)
    apart = _differences(margins, level, numbers)
    seen = (o * apart).sum(axis=(-2, -1))
    expected = (margins[..., :, None] * margins[..., None, :] * apart).sum(axis=(-2, -1))
    safe = expected > 1e-12
    ratio = np.divide((n - 1.0) * seen, expected, out=np.full_like(n, np.nan), where=safe)
    return np.asarray(1.0 - ratio)


def alpha_of(matrix: ArrayLike, level: str = "nominal", values: ArrayLike | None = None) -> float:
    """Return Krippendorff's alpha of one coincidence matrix.

    Raises BadInput where it is undefined: nothing labeled twice, or one value only.
    """
    o = np.asarray(matrix, dtype=float)
    if o.sum() <= 0:
        raise BadInput("no photo was labeled by two people or more")
    alpha = float(alphas(o, level, values))
    if np.isnan(alpha):
        raise BadInput("everybody gave the same single answer throughout; agreement beyond chance is unknown")
    return alpha


def observed_of(matrix: ArrayLike) -> float:
    """Return the observed agreement of one coincidence matrix: the share of pairs that agree, 0 to 1.

    Each value weighs the same however many people labeled its photo (1 - D_o, Krippendorff 2011).
    Raises BadInput when nothing was labeled twice.
    """
    o = np.asarray(matrix, dtype=float)
    total = o.sum()
    if total <= 0:
        raise BadInput("no photo was labeled by two people or more")
    return float(np.trace(o) / total)


LEAST_DECKS = 5
"""Below this number of decks no interval is given."""


def deck_interval(per_deck: ArrayLike, confidence: float = 0.95) -> tuple[float, float]:
    """Return the interval of alpha over decks, from each deck's coincidences, shape (decks, values, values).

    Photos of one deck are alike, so decks are left out one by one, not photos: Student's t on the jackknife's
    standard error of log(1 - alpha) (B. Efron and C. Stein, Annals of Statistics 9, 1981; R. G. Miller,
    Biometrika 61, 1974, on the transformation). A percentile bootstrap over decks covers .72 with three decks
    and .85 with five.

    Raises BadInput below `LEAST_DECKS` decks, where everybody agrees always, or where one deck alone holds
    all that differs.
    """
    parts = np.asarray(per_deck, float)
    decks = len(parts)
    if decks < LEAST_DECKS:
        raise BadInput(f"an interval needs doubly labeled photos of {LEAST_DECKS} decks or more")
    total = parts.sum(axis=0)
    whole, without = float(alphas(total)), alphas(total - parts)
    if whole >= 1.0:
        most = 1.0 - (1.0 - confidence) ** (1.0 / decks)
        raise BadInput(
            f"everybody agreed on all {decks} decks, so nothing measures the uncertainty; up to "
            f"{most:.0%} of decks may still hold a photo on which they differ"
        )
    if np.isnan(without).any() or (without >= 1.0).any():
        raise BadInput("all disagreements are on one deck, so no interval can be computed")
    spread = np.log1p(-without)
    error = np.sqrt((decks - 1) / decks * ((spread - spread.mean()) ** 2).sum())
    reach = float(stats.t.ppf(0.5 + confidence / 2.0, decks - 1)) * float(error)
    middle = float(np.log1p(-whole))
    return 1.0 - float(np.exp(middle + reach)), 1.0 - float(np.exp(middle - reach))
