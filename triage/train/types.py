"""What goes into training and what comes out, as frozen records.

Boxes are (x, y, width, height) in fractions of the upright photo; a zero-size box is a point.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from triage.features.vectors import PhotoVectors

    Floats = NDArray[np.float64]
    Floats32 = NDArray[np.float32]

Box = tuple[float, float, float, float]
VectorsOf = Callable[[str], "PhotoVectors"]
Progress = Callable[[str, int, "int | None"], None]
Cancel = Callable[[], bool]

LIKELY_FROM = 0.5
"""A photo is `likely` from this calibrated probability on."""
MIN_PHOTOS = 2
"""Fewest photos of each class that a model is trained on; no interval is given below five positive decks."""
MIN_DECKS = 2
"""Fewest decks of each class: with one deck nothing can be held out."""


@dataclass(frozen=True)
class TrainingLabel:
    """A person's word on photo x tag.

    Attributes
    ----------
    photo, tag : what was judged.
    value : ``present``, ``absent`` or ``unclear``.
    boxes : where, for ``present``; a zero size is a point.
    weight : below 1 where people disagree; 0 leaves the label out.
    asked_by : how the photo came to be asked; a promise counts only ways that the machine did not choose.
    by : who said so.
    at : when, ISO 8601, if known.
    """

    photo: str
    tag: str
    value: str
    boxes: tuple[Box, ...] = ()
    weight: float = 1.0
    asked_by: str = "taken"
    by: str = ""
    at: str = ""


@dataclass(frozen=True)
class Promise:
    """What is promised about the pile `unlikely` of one tag, or why nothing is.

    Attributes
    ----------
    miss_rate : promised bound on the expected share of a defective deck's positive photos put in `unlikely`.
    holds : whether the promise is made.
    threshold : a photo may be `unlikely` only when its largest leave-one-out score is below it; null where
        nothing is promised.
    eligible_positive_decks : decks with the defect, fully answered by labels that the machine did not choose.
    missing : how many more such decks the promise needs.
    why_not : one sentence where it does not hold, else empty.
    spared : share of the labeled negative photos that would be `unlikely`, each deck judged by models that
        did not see it; null where nothing can be said.
    """

    miss_rate: float
    holds: bool
    threshold: float | None
    eligible_positive_decks: int
    missing: int
    why_not: str = ""
    spared: float | None = None

    def to_json(self) -> dict[str, Any]:
        """The keys that `train --json` promises, and `spared`."""
        return {
            "miss_rate": self.miss_rate,
            "holds": self.holds,
            "threshold": self.threshold,
            "eligible_positive_decks": self.eligible_positive_decks,
            "missing": self.missing,
            "why_not": self.why_not or None,
            "spared": self.spared,
        }


@dataclass(frozen=True)
class Figures:
    """What the left-out decks say about one model; null where it cannot be said.

    Intervals are 95 % by bootstrap over decks, none below five decks with the defect.
    """

    average_precision: float | None = None
    average_precision_low: float | None = None
    average_precision_high: float | None = None
    roc_auc: float | None = None
    roc_auc_low: float | None = None
    roc_auc_high: float | None = None
    brier: float | None = None
    brier_low: float | None = None
    brier_high: float | None = None
    reliability: float | None = None
    resolution: float | None = None
    uncertainty: float | None = None
    calibration_error: float | None = None
    whole_average_precision: float | None = None
    cell_average_precision: float | None = None


@dataclass(frozen=True, eq=False)
class Linear:
    """Linear scores: one row per model.

    Attributes
    ----------
    weights : (m, D) float32.
    bias : (m,) float64.
    """

    weights: Floats32
    bias: Floats


@dataclass(frozen=True)
class Calibration:
    """From raw score to probability: ``kind`` and its few numbers, see `triage.train.calibrate`."""

    kind: str
    numbers: tuple[float, ...] = ()


@dataclass(frozen=True, eq=False)
class LeaveOneOutModels:
    """The models that each leave one eligible positive deck out; the promise rests on them.

    Attributes
    ----------
    whole : n models on the whole vector.
    cells : n models on cells, or None.
    blend : (n, 3) offset, whole, cell of each model's score.
    """

    whole: Linear
    cells: Linear | None
    blend: Floats


@dataclass(frozen=True, eq=False)
class TagModel:
    """One tag's model: two linear scores, one blend, one calibration, one promise, and its card.

    Attributes
    ----------
    tag : the tag.
    recipe_sha : recipe of the vectors that it reads.
    whole : one model on the whole vector.
    cells : one model on cells, or None where no photo had cells.
    blend : (offset, whole, cell): the raw score is their sum with the two linear scores.
    calibration : from raw score to probability.
    bands : whether probabilities are shown as bands (fewer than 20 positives).
    folds : deck to fold, the fold models never saw the fold's decks.
    fold_models : one model per fold, blended like the main one.
    held_out : photo to (raw score by the fold's model, 1 present or 0 absent).
    facts : what else is told; ``guard_decks`` names the deck that each leave-one-out model left out.
    """

    tag: str
    recipe_sha: str
    whole: Linear
    cells: Linear | None
    blend: tuple[float, float, float]
    calibration: Calibration
    bands: bool
    promise: Promise
    leave_one_out: LeaveOneOutModels | None
    figures: Figures
    present: int
    absent: int
    unclear: int
    decks: int
    positive_decks: int
    boxed: int
    folds: Mapping[str, int] = field(default_factory=dict)
    fold_models: LeaveOneOutModels | None = None
    held_out: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    facts: Mapping[str, Any] = field(default_factory=dict)

    @property
    def prevalence(self) -> float:
        """Share of present among the photos answered present or absent."""
        return self.present / (self.present + self.absent)


@dataclass(frozen=True)
class TooFew:
    """A tag that gets no model, and what is missing for one."""

    tag: str
    present: int
    absent: int
    unclear: int
    decks: int
    missing_present: int
    missing_absent: int
    why: str


@dataclass(frozen=True)
class Score:
    """What a model says about one photo.

    Attributes
    ----------
    raw : blended linear score, on the scale of log odds.
    probability : calibrated, in [0, 1].
    where : at most three boxes, best first, from the exact linear weights on cells.
    leave_one_out : largest score of the leave-one-out models; None without a promise, or where the photo is
        `likely`.
    """

    raw: float
    probability: float
    where: tuple[Box, ...]
    leave_one_out: float | None = None
