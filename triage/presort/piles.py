"""Which pile a photo goes to, and whether a tag's promise holds for a batch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from triage.train.types import LIKELY_FROM

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from triage.train.types import TagModel

HOLDS, TOO_FEW, WITHDRAWN = "holds", "too-few", "withdrawn"


@dataclass(frozen=True)
class Standing:
    """The status of one tag's promise for one batch: `holds`, `too-few` or `withdrawn`, and why not."""

    standing: str
    why_not: str = ""

    def to_json(self) -> dict[str, str | None]:
        """The keys that `presort --json` promises."""
        return {"standing": self.standing, "why_not": self.why_not or None}


def pile(
    probability: float,
    raw_scores: float | Sequence[float] | NDArray[np.float64] | None,
    model: TagModel,
    promise_standing: str | Standing,
) -> str:
    """`likely`, `unsure` or `unlikely`.

    Parameters
    ----------
    probability : calibrated.
    raw_scores : scores of the leave-one-out models, or the largest of them; None where there are none.
    model : the tag's model with its promise.
    promise_standing : the status of the promise for this batch; only `holds` allows `unlikely`.
    """
    if probability >= LIKELY_FROM:
        return "likely"
    standing = promise_standing if isinstance(promise_standing, str) else promise_standing.standing
    threshold = model.promise.threshold
    if standing != HOLDS or not model.promise.holds or threshold is None or raw_scores is None:
        return "unsure"
    left_out = np.atleast_1d(np.asarray(raw_scores, float))
    return "unlikely" if left_out.size and float(left_out.max()) < threshold else "unsure"
