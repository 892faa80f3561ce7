"""One tag on its way from labels to a model: folds, left-out scores, blend, calibration, promise, figures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, overload

import numpy as np

from triage.train import blend as blending
from triage.train import calibrate, measures
from triage.train.cell_learner import CellLearner
from triage.train.cells import Shelf
from triage.train.fitting import Chooser, WholeLearner
from triage.train.promise import decks_needed, make_promise
from triage.train.table import TagTable, deal_folds, draw
from triage.train.types import (
    MIN_DECKS,
    MIN_PHOTOS,
    Figures,
    LeaveOneOutModels,
    Linear,
    Promise,
    TagModel,
    TooFew,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from triage.train.types import Floats, Floats32

MOST_LEFT_OUT = 60
"""Eligible decks that are left out by a model each; further ones only train (drawn by their names)."""


def too_few(table: TagTable) -> TooFew | None:
    """What is missing for a model of this tag, or None where there is enough."""
    present, absent = int(table.present.sum()), int(table.absent.sum())
    decks = len(set(table.decks))
    why = ""
    if present < MIN_PHOTOS or absent < MIN_PHOTOS:
        why = f"needs {MIN_PHOTOS} photos with and {MIN_PHOTOS} without it: there are {present} and {absent}"
    elif len(table.decks_of(table.present)) < MIN_DECKS:
        why = "all photos with it come from one deck: label it on another deck too"
    elif len(table.decks_of(table.absent)) < MIN_DECKS:
        why = "all photos without it come from one deck: label it on another deck too"
    if not why:
        return None
    missing = max(0, MIN_PHOTOS - present), max(0, MIN_PHOTOS - absent)
    return TooFew(table.tag, present, absent, int(table.unclear.sum()), decks, *missing, why)


@dataclass(eq=False)
class Draft:
    """A tag between fitting and finishing; `begin` fits, cell scores come in, `finish` makes the model."""

    table: TagTable
    miss_rate: float
    seed: int
    folds: Mapping[str, int]
    fold: NDArray[np.intp]
    whole: Linear
    cells: Linear | None
    fold_whole: Linear
    fold_cells: Linear | None
    left_out_decks: list[str]
    eligible: int
    left_out_whole: Linear | None
    left_out_cells: Linear | None
    whole_out: Floats
    cell_out: Floats
    left_out_whole_scores: dict[int, float] = field(default_factory=dict)
    left_out_cell_scores: dict[int, float] = field(default_factory=dict)

    @classmethod
    def begin(
        cls,
        table: TagTable,
        rows: Floats32,
        gram: Floats32,
        shelf: Shelf,
        miss_rate: float,
        seed: int,
        earlier: Mapping[str, int] | None,
    ) -> Draft:
        """Fit the model on all decks, without each fold, and without each deck that the promise rests on."""
        folds = deal_folds(table, seed, earlier)
        fold = np.array([folds[deck] for deck in table.decks])
        deck = np.array(table.decks)
        everything = np.ones(len(fold), bool)
        eligible = [name for name in table.decks_of(table.present) if name in table.counted]
        left_out: list[str] = []
        if len(eligible) >= decks_needed(miss_rate):
            left_out = sorted(eligible, key=lambda name: draw(seed, "guards", name))[:MOST_LEFT_OUT]
        main = [everything, *(fold != k for k in range(int(fold.max()) + 1))]
        without = [deck != name for name in left_out]
        chooser = Chooser(table, seed)
        boxed = bool(left_out) and min(_boxed_share(table, use) for use in without) >= 0.5
        whole = WholeLearner(table, rows, gram, chooser)
        cells = CellLearner(table, shelf, chooser, [*main, *without] if boxed else main, seed)
        whole_main = _stack([whole.fit(use) for use in main])
        cell_main = _stack([cells.fit(use) for use in main])
        fold_whole = Linear(whole_main.weights[1:], whole_main.bias[1:])
        return cls(
            table,
            miss_rate,
            seed,
            folds,
            fold,
            whole=_first(whole_main),
            cells=cell_main and _first(cell_main),
            fold_whole=fold_whole,
            fold_cells=cell_main and Linear(cell_main.weights[1:], cell_main.bias[1:]),
            left_out_decks=left_out,
            eligible=len(eligible),
            left_out_whole=_stack(whole.fit_each_without(without)) if left_out else None,
            left_out_cells=_stack([cells.fit(use) for use in without]) if boxed else None,
            whole_out=np.einsum("ij,ij->i", rows, fold_whole.weights[fold]) + fold_whole.bias[fold],
            cell_out=np.full(len(fold), np.nan),
        )._score_left_out(rows)

    def _score_left_out(self, rows: Floats32) -> Draft:
        """Score the firm photos of each such deck by the model that left it out."""
        if self.left_out_whole is None:
            return self
        deck = np.array(self.table.decks)
        for k, name in enumerate(self.left_out_decks):
            for place in np.flatnonzero((deck == name) & self.table.firm):
                score = rows[place] @ self.left_out_whole.weights[k] + self.left_out_whole.bias[k]
                self.left_out_whole_scores[int(place)] = float(score)
        return self

    def cell_models(self, place: int) -> tuple[Floats32, Floats] | None:
        """The cell models that must score this photo: its fold's, and the one without its deck."""
        if self.fold_cells is None:
            return None
        k = self.fold[place]
        weights, bias = self.fold_cells.weights[[k]], self.fold_cells.bias[[k]]
        if self.left_out_cells is not None and place in self.left_out_whole_scores:
            g = self.left_out_decks.index(self.table.decks[place])
            weights = np.concatenate([weights, self.left_out_cells.weights[[g]]])
            bias = np.append(bias, self.left_out_cells.bias[g])
        return weights, bias

    def take_cell_scores(self, place: int, scores: Floats) -> None:
        """Scores of the models that `cell_models` named, in its order."""
        self.cell_out[place] = scores[0]
        if len(scores) > 1:
            self.left_out_cell_scores[place] = float(scores[1])

    def finish(self, recipe_sha: str) -> TagModel:
        """Blend, calibrate, promise and measure."""
        table = self.table
        firm = table.firm
        labels = table.present[firm].astype(float)
        blend = blending.choose(self.whole_out[firm], self.cell_out[firm], labels, _boxed_share(table, firm))
        raw = blending.join(blend, self.whole_out, self.cell_out)
        decks = np.unique(np.array(table.decks)[firm], return_inverse=True)[1]
        calibration = calibrate.choose(raw[firm], labels, self.fold[firm], decks)
        present = int(labels.sum())
        return TagModel(
            tag=table.tag,
            recipe_sha=recipe_sha,
            whole=self.whole,
            cells=self.cells,
            blend=blend,
            calibration=calibration,
            bands=present < calibrate.PLATT_FROM,
            promise=self._promise(),
            leave_one_out=self._leave_one_out(),
            figures=self._figures(raw[firm], labels),
            present=present,
            absent=int(table.absent.sum()),
            unclear=int(table.unclear.sum()),
            decks=len(set(table.decks)),
            positive_decks=len(table.decks_of(table.present)),
            boxed=sum(1 for p in np.flatnonzero(table.present) if table.boxes[p]),
            folds=self.folds,
            fold_models=LeaveOneOutModels(
                self.fold_whole, self.fold_cells, np.tile(blend, (len(self.fold_whole.bias), 1))
            ),
            held_out={
                table.shas[p]: (float(raw[p]), float(table.present[p]), float(self.fold[p]))
                for p in np.flatnonzero(firm)
            },
            facts={"guard_decks": list(self.left_out_decks)},
        )

    def _leave_one_out(self) -> LeaveOneOutModels | None:
        if self.left_out_whole is None:
            return None
        blend = blending.LEAVE_ONE_OUT_WHOLE if self.left_out_cells is None else blending.LEAVE_ONE_OUT_BOTH
        return LeaveOneOutModels(
            self.left_out_whole, self.left_out_cells, np.tile(blend, (len(self.left_out_decks), 1))
        )

    def _promise(self) -> Promise:
        left_out = self._leave_one_out()
        if left_out is None:
            return make_promise([np.zeros(1)] * self.eligible, self.miss_rate)
        places = np.array(sorted(self.left_out_whole_scores), np.intp)
        whole = np.array([self.left_out_whole_scores[int(p)] for p in places])
        cells = np.array([self.left_out_cell_scores.get(int(p), np.nan) for p in places])
        scores = blending.join(tuple(left_out.blend[0]), whole, cells)
        deck = np.array(self.table.decks)[places]
        present = self.table.present[places]
        per_deck = [scores[(deck == name) & present] for name in self.left_out_decks]
        promise = make_promise(per_deck, self.miss_rate)
        negatives = scores[~present]
        if promise.threshold is None or not len(negatives):
            return promise
        return replace(promise, spared=float(np.mean(negatives < promise.threshold)))

    def _figures(self, raw: Floats, labels: Floats) -> Figures:
        firm = self.table.firm
        fold = self.fold[firm]
        decks = [deck for deck, here in zip(self.table.decks, firm, strict=True) if here]
        index = np.unique(decks, return_inverse=True)[1]
        chance = calibrate.held_out_probabilities(raw, labels, fold, index)
        known = bool(np.isfinite(self.cell_out[firm]).all())
        return replace(
            measures.figures(raw, chance, labels, decks, self.seed),
            whole_average_precision=float(measures.average_precision(self.whole_out[firm], labels)),
            cell_average_precision=(
                float(measures.average_precision(self.cell_out[firm], labels)) if known else None
            ),
        )


def _boxed_share(table: TagTable, use: NDArray[np.bool_]) -> float:
    """Share of the positive photos under the mask that carry a box or a point."""
    places = np.flatnonzero(use & table.present)
    return sum(1 for place in places if table.boxes[place]) / max(1, len(places))


def _first(linear: Linear) -> Linear:
    return Linear(linear.weights[:1], linear.bias[:1])


@overload
def _stack(fitted: Sequence[tuple[Floats32, float]]) -> Linear: ...
@overload
def _stack(fitted: Sequence[tuple[Floats32, float] | None]) -> Linear | None: ...
def _stack(fitted: Sequence[tuple[Floats32, float] | None]) -> Linear | None:
    """Models as one; None where some could not be fitted."""
    made = [one for one in fitted if one is not None]
    if len(made) < len(fitted):
        return None
    return Linear(np.stack([weights for weights, _ in made]), np.array([bias for _, bias in made]))
