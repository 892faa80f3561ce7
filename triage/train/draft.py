"""One tag on its way from labels to a model: folds, left-out scores, blend, calibration, promise, figures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from triage.train import blend as blending
from triage.train import calibrate, measures
from triage.train.cells import Shelf
from triage.train.fitting import CellLearner, WholeLearner, rows_to_train
from triage.train.promise import decks_needed, make_promise
from triage.train.table import TagTable, deal_folds
from triage.train.types import MIN_DECKS, MIN_PHOTOS, Figures, Guards, Linear, Promise, TagModel, TooFew

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from triage.train.types import Floats, Floats32

MOST_GUARDS = 60
"""Eligible decks that get a guard model of their own; further ones only train (drawn by their names)."""


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
    guard_decks: list[str]
    eligible: int
    guard_whole: Linear | None
    guard_cells: Linear | None
    whole_out: Floats
    cell_out: Floats
    guard_whole_out: dict[int, float] = field(default_factory=dict)
    guard_cell_out: dict[int, float] = field(default_factory=dict)

    @classmethod
    def begin(
        cls,
        table: TagTable,
        rows: Floats32,
        shelf: Shelf,
        miss_rate: float,
        seed: int,
        earlier: Mapping[str, int] | None,
    ) -> Draft:
        """Fit the model on all decks, without each fold, and without each deck that the promise rests on."""
        folds = deal_folds(table, seed, earlier)
        fold = np.array([folds[deck] for deck in table.decks])
        kept = rows_to_train(table, seed)
        gram = np.asarray(rows @ rows.T, np.float64)
        whole = WholeLearner(table, rows, gram, kept)
        cells = CellLearner(table, shelf, kept, seed)
        everything = np.ones(len(fold), bool)
        eligible = [deck for deck in table.decks_of(table.present) if _eligible(table, deck)]
        guards = eligible[:MOST_GUARDS] if len(eligible) >= decks_needed(miss_rate) else []
        deck = np.array(table.decks)
        full = [everything]
        without_fold = [fold != k for k in range(int(fold.max()) + 1)]
        without_deck = [deck != name for name in guards]
        whole_main, whole_folds, whole_guards = (_whole(whole, m) for m in (full, without_fold, without_deck))
        cell_main, cell_folds, cell_guards = (_cells(cells, m) for m in (full, without_fold, without_deck))
        out = np.einsum("ij,ij->i", rows, whole_folds.weights[fold]) + whole_folds.bias[fold]
        draft = cls(
            table, miss_rate, seed, folds, fold, whole_main, cell_main, whole_folds, cell_folds, guards,
            len(eligible), whole_guards if guards else None, cell_guards if guards else None,
            np.asarray(out, float), np.full(len(fold), np.nan),
        )  # fmt: skip
        for k, name in enumerate(guards):
            for place in np.flatnonzero((deck == name) & table.present):
                draft.guard_whole_out[int(place)] = float(
                    rows[place] @ whole_guards.weights[k] + whole_guards.bias[k]
                )
        return draft

    def cell_models(self, place: int) -> tuple[Floats32, Floats] | None:
        """The cell models that must score this photo: its fold's, and its deck's guard where it has one."""
        if self.fold_cells is None:
            return None
        k = self.fold[place]
        weights, bias = self.fold_cells.weights[[k]], self.fold_cells.bias[[k]]
        if self.guard_cells is not None and place in self.guard_whole_out:
            g = self.guard_decks.index(self.table.decks[place])
            weights = np.concatenate([weights, self.guard_cells.weights[[g]]])
            bias = np.append(bias, self.guard_cells.bias[g])
        return weights, bias

    def take_cell_scores(self, place: int, scores: Floats) -> None:
        """Scores of the models that `cell_models` named, in its order."""
        self.cell_out[place] = scores[0]
        if len(scores) > 1:
            self.guard_cell_out[place] = float(scores[1])

    def finish(self, recipe_sha: str) -> TagModel:
        """Blend, calibrate, promise and measure."""
        table = self.table
        firm = table.firm
        labels = table.present[firm].astype(float)
        blend = blending.choose(self.whole_out[firm], self.cell_out[firm], labels)
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
            guards=self._guards(),
            figures=self._figures(raw[firm], labels),
            present=present,
            absent=int(table.absent.sum()),
            unclear=int(table.unclear.sum()),
            decks=len(set(table.decks)),
            positive_decks=len(table.decks_of(table.present)),
            boxed=sum(1 for p in np.flatnonzero(table.present) if table.boxes[p]),
            folds=self.folds,
            fold_models=Guards(
                self.fold_whole, self.fold_cells, np.tile(blend, (len(self.fold_whole.bias), 1))
            ),
            held_out={
                table.shas[p]: (float(raw[p]), float(table.present[p]), float(self.fold[p]))
                for p in np.flatnonzero(firm)
            },
        )

    def _guards(self) -> Guards | None:
        if self.guard_whole is None:
            return None
        n = len(self.guard_decks)
        return Guards(self.guard_whole, self.guard_cells, np.tile(blending.EVEN, (n, 1)))

    def _promise(self) -> Promise:
        if self.guard_whole is None:
            return make_promise([np.zeros(1)] * self.eligible, self.miss_rate)
        per_deck = []
        for name in self.guard_decks:
            places = [p for p in self.guard_whole_out if self.table.decks[p] == name]
            whole = np.array([self.guard_whole_out[p] for p in places])
            cells = np.array([self.guard_cell_out.get(p, np.nan) for p in places])
            per_deck.append(blending.join(blending.EVEN, whole, cells))
        return make_promise(per_deck, self.miss_rate)

    def _figures(self, raw: Floats, labels: Floats) -> Figures:
        firm = self.table.firm
        fold = self.fold[firm]
        decks = [deck for deck, here in zip(self.table.decks, firm, strict=True) if here]
        index = np.unique(decks, return_inverse=True)[1]
        chance = calibrate.held_out_probabilities(raw, labels, fold, index)
        return measures.figures(raw, chance, labels, decks, self.seed)


def _eligible(table: TagTable, deck: str) -> bool:
    here = np.array([name == deck for name in table.decks])
    return deck in table.complete and bool(table.counts[here].all())


def _whole(learner: WholeLearner, masks: list[NDArray[np.bool_]]) -> Linear:
    fitted = [learner.fit(mask) for mask in masks]
    if not fitted:
        return Linear(np.zeros((0, learner.rows.shape[1]), np.float32), np.zeros(0))
    return Linear(np.stack([w for w, _ in fitted]), np.array([b for _, b in fitted]))


def _cells(learner: CellLearner, masks: list[NDArray[np.bool_]]) -> Linear | None:
    fitted = [learner.fit(mask) for mask in masks]
    if not fitted or any(one is None for one in fitted):
        return None
    return Linear(np.stack([one[0] for one in fitted if one]), np.array([one[1] for one in fitted if one]))
