"""Krippendorff's alpha of a table of ratings, by the functions that the audit uses on a library."""

import numpy as np

from triage.audit.agreement import alpha_of, coincidences


def krippendorff_alpha(ratings, level="nominal"):
    """Return alpha of ratings, shape (people, units), NaN where a person gave none."""
    table = np.asarray(ratings, dtype=float)
    given = ~np.isnan(table)
    values, codes = np.unique(table[given], return_inverse=True)
    units = np.broadcast_to(np.arange(table.shape[1]), table.shape)[given]
    counts = np.bincount(units * len(values) + codes, minlength=table.shape[1] * len(values))
    return alpha_of(coincidences(counts.reshape(table.shape[1], len(values))).sum(axis=0), level, values)
