"""One adaptation: linear heads on cells and whole photos teach the network; the original holds it back.

The heads read what the trainer of a user's labels reads later: cells of both maps of unit length, and means
and maxima of whole photos of unit length. Every loss is balanced by tag, present against absent. The network
sees a strongly relit picture and must stay with what the original says of the mildly relit one: that is both
the pull to the original and the consistency of two views. The optimizer is Adam with a cosine.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import torch
from torch import nn
from torch.nn import functional

from tools.build_backbone.adapt import views
from tools.build_backbone.adapt.network import FoldedNetwork
from tools.build_backbone.adapt.sets import PictureSet
from tools.build_backbone.adapt.settings import Settings

LAST, EARLIER = 1280, 672
SHARPNESS = 10.0
EARLIER_BLOCK = 11
HIGHEST = 6
KEEP_EVERY = 500
LOG_EVERY = 100
Log = Callable[[str], None]


class Heads(nn.Module):
    """Linear scores of all tags on cells (of both maps, at stride 32 and 16) and on whole photos."""

    def __init__(self, tags: int) -> None:
        super().__init__()
        self.last = nn.Conv2d(LAST, tags, 1)
        self.earlier = nn.Conv2d(EARLIER, tags, 1)
        self.whole = nn.Linear(2 * LAST + 2 * EARLIER, tags)
        for layer in (self.last, self.earlier, self.whole):
            nn.init.zeros_(layer.weight)
            nn.init.constant_(layer.bias, 0.0)

    def cells(self, last: torch.Tensor, earlier: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Scores (n, tags, H/32, W/32) and (n, tags, H/16, W/16) from maps of unit length."""
        return self.last(SHARPNESS * last), self.earlier(SHARPNESS * earlier)

    def photos(self, last: torch.Tensor, earlier: torch.Tensor) -> torch.Tensor:
        """Scores (n, tags) from maps as they come."""
        blocks = [pooled for found in (last, earlier) for pooled in (found.mean((2, 3)), found.amax((2, 3)))]
        return self.whole(SHARPNESS * torch.cat([functional.normalize(block) for block in blocks], dim=1))


def balanced_loss(scores: torch.Tensor, targets: torch.Tensor, weights: torch.Tensor) -> torch.Tensor:
    """Mean over tags of the means over present and over absent; a tag with one side only counts half."""
    each = functional.binary_cross_entropy_with_logits(scores, targets, reduction="none")
    over = tuple(k for k in range(scores.ndim) if k != 1)
    sides = []
    for side in (targets * weights, (1 - targets) * weights):
        total = side.sum(over)
        sides.append(((each * side).sum(over) / total.clamp(min=1.0), (total > 0).float()))
    tags = torch.maximum(sides[0][1], sides[1][1]).sum().clamp(min=1.0)
    return sum((loss * there).sum() for loss, there in sides) / 2 / tags


def highest_loss(scores: torch.Tensor, targets: torch.Tensor, weights: torch.Tensor) -> torch.Tensor:
    """The loss of a part's score, the mean of its highest cells.

    A part has what some cell of it has, and lacks what no cell of it can have.
    """
    known = scores.flatten(2).masked_fill(weights.flatten(2) == 0, -1e4)
    highest = known.topk(HIGHEST, dim=2).values
    sure = (highest > -1e3).float()
    mean = (highest * sure).sum(dim=2) / sure.sum(dim=2).clamp(min=1)
    present = ((targets * weights).flatten(2).amax(dim=2) > 0).float()
    absent = (weights.flatten(2).amin(dim=2) > 0).float() * (1 - present)
    return balanced_loss(mean, present, torch.maximum(present, absent) * sure.amax(dim=2))


def apart(found: torch.Tensor, wanted: torch.Tensor) -> torch.Tensor:
    """One less the mean cosine of maps of unit length."""
    return 1 - (found * wanted).sum(dim=1).mean()


class Adaptation:
    """The state of one run: network, original, heads, optimizer, pictures, the drawing of random numbers."""

    def __init__(
        self,
        network: FoldedNetwork,
        original: FoldedNetwork,
        sets: list[PictureSet],
        settings: Settings,
        device: str,
    ) -> None:
        torch.manual_seed(settings.seed)
        self.settings, self.device = settings, device
        self.network = network.to(device, memory_format=torch.channels_last)
        self.original = original.to(device, memory_format=torch.channels_last).requires_grad_(False)
        self.start = {name: value.detach().clone() for name, value in self.network.named_parameters()}
        firsts = [sum(len(one.tags) for one in sets[:k]) for k in range(len(sets))]
        self.sets = [views.OnDevice.of(one, first, device) for one, first in zip(sets, firsts, strict=True)]
        self.tags = sum(len(one.tags) for one in sets)
        self.heads = Heads(self.tags).to(device)
        early, late = self._by_depth()
        self.optimizer = torch.optim.AdamW(
            [
                {"params": early, "lr": settings.rate, "weight_decay": 0.0},
                {"params": late, "lr": settings.rate, "weight_decay": 0.0},
                {"params": list(self.heads.parameters()), "lr": settings.head_rate, "weight_decay": 0.01},
            ],
            fused=device != "cpu",
        )
        self.generator = torch.Generator().manual_seed(settings.seed)
        self.step = 0

    def _by_depth(self) -> tuple[list[nn.Parameter], list[nn.Parameter]]:
        """Weights before the earlier map, and from it on."""
        found: tuple[list[nn.Parameter], list[nn.Parameter]] = ([], [])
        for name, value in self.network.weights.items():
            block = re.match(r"block(\d+)/", name)
            late = name.startswith("head") or (block is not None and int(block[1]) >= EARLIER_BLOCK)
            found[late].append(value)
        return found

    def _maps(self, network: FoldedNetwork, pictures: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        with torch.autocast(self.device, torch.bfloat16, enabled=self.device != "cpu"):
            last, earlier = network(pictures.contiguous(memory_format=torch.channels_last))
        return last.float(), earlier.float()

    def _two_views(self, pictures: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
        """Maps of a strongly relit view, and how far they are from the original's of a mild one."""
        with torch.no_grad():
            kept = self._maps(self.original, views.relit(pictures, 0.3, self.generator))
        found = self._maps(self.network, views.relit(pictures, 1.0, self.generator))
        pairs = zip(found, kept, strict=True)
        far = [apart(functional.normalize(one), functional.normalize(other)) for one, other in pairs]
        return *found, sum(far) / 2

    def _crops(self) -> tuple[torch.Tensor, torch.Tensor]:
        sources = [one for one in self.sets if len(one.dense)]
        counts = [self.settings.boards_share if one.name == "boards" else 1 for one in sources]
        shares = [self.settings.crops * count // sum(counts) for count in counts]
        parts = [
            views.crops(one, share, self.settings.crop_px, self.generator)
            for one, share in zip(sources, shares, strict=True)
        ]
        last, earlier, far = self._two_views(torch.cat([pictures for pictures, *_rest in parts]))
        scores = self.heads.cells(functional.normalize(last), functional.normalize(earlier))
        loss = torch.zeros((), device=self.device)
        begin = 0
        for one, share, (_pictures, masks, weights) in zip(sources, shares, parts, strict=True):
            rows, tags = slice(begin, begin + share), slice(one.first, one.first + masks.shape[1])
            begin += share
            for found, places in zip(scores, (4, 2), strict=True):
                targets, sure = views.cell_targets(masks, weights, one.present, places)
                cells = balanced_loss(found[rows, tags], targets, sure)
                if self.settings.highest_cells:
                    cells = cells + self.settings.highest_cells * highest_loss(
                        found[rows, tags], targets, sure
                    )
                loss = loss + cells / 2 / len(sources)
        return loss, far

    def _whole(self) -> tuple[torch.Tensor, torch.Tensor]:
        sources = [one for one in self.sets if len(one.views)]
        if not sources:
            return torch.zeros((), device=self.device), torch.zeros((), device=self.device)
        share = self.settings.whole // len(sources)
        side = views.WHOLE_SIDES[int(torch.randint(len(views.WHOLE_SIDES), (1,), generator=self.generator))]
        parts = [views.whole(one, share, side, self.generator) for one in sources]
        last, earlier, far = self._two_views(torch.cat([pictures for pictures, *_rest in parts]))
        scores = self.heads.photos(last, earlier)
        loss = torch.zeros((), device=self.device)
        for number, (one, (_pictures, targets, weights)) in enumerate(zip(sources, parts, strict=True)):
            if one.name not in self.settings.photo_labels.split(","):
                continue
            rows, tags = (
                slice(number * share, (number + 1) * share),
                slice(one.first, one.first + targets.shape[1]),
            )
            loss = loss + balanced_loss(scores[rows, tags], targets, weights) / len(sources)
        return loss, far

    def _pull_back(self) -> torch.Tensor:
        """Add the pull to the original weights to the gradients; returns the squared distance to them."""
        values = list(self.network.parameters())
        away = torch._foreach_sub([value.detach() for value in values], list(self.start.values()))
        grads = [torch.zeros_like(value) if value.grad is None else value.grad for value in values]
        torch._foreach_add_(grads, away, alpha=2 * self.settings.pull)
        for value, grad in zip(values, grads, strict=True):
            value.grad = grad
        return torch.stack(torch._foreach_norm(away)).square().sum()

    def advance(self) -> dict[str, float]:
        """Do one step and return its losses."""
        settings = self.settings
        done = self.step / settings.steps
        cosine = 0.5 + 0.5 * math.cos(math.pi * done)
        warm = min(1.0, max(0.0, (self.step - settings.warm_up / 2) / (settings.warm_up / 2)))
        rates = (settings.rate * warm * settings.early_rate, settings.rate * warm, settings.head_rate)
        for group, rate in zip(self.optimizer.param_groups, rates, strict=True):
            group["lr"] = rate * cosine
        self.optimizer.zero_grad(set_to_none=True)
        crops, far_crops = self._crops()
        whole, far_whole = self._whole()
        held = settings.distil * far_crops + settings.distil_whole * far_whole
        (crops + whole + held).backward()
        moved = self._pull_back()
        nn.utils.clip_grad_norm_(self.network.parameters(), 5.0)
        self.optimizer.step()
        self.step += 1
        named = {
            "cells": crops,
            "photos": whole,
            "apart": far_crops,
            "apart whole": far_whole,
            "moved": moved,
        }
        if self.step % LOG_EVERY:
            return {}
        return {name: float(value.detach()) for name, value in named.items()}

    def state(self) -> dict[str, Any]:
        """Everything that going on needs."""
        return {
            "network": self.network.state_dict(),
            "heads": self.heads.state_dict(),
            "optimiser": self.optimizer.state_dict(),
            "generator": self.generator.get_state(),
            "step": self.step,
        }

    def restore(self, state: dict[str, Any]) -> None:
        """Go on where a kept state stopped."""
        self.network.load_state_dict(state["network"])
        self.heads.load_state_dict(state["heads"])
        self.optimizer.load_state_dict(state["optimiser"])
        self.generator.set_state(state["generator"].cpu())
        self.step = state["step"]

    def run(self, kept: Path, log: Log) -> None:
        """Train to the end; the state is kept every 500 steps and taken up again."""
        if kept.exists():
            self.restore(torch.load(kept, map_location=self.device, weights_only=True))
        while self.step < self.settings.steps:
            losses = self.advance()
            if losses:
                log(
                    f"step {self.step}: " + ", ".join(f"{name} {value:.4f}" for name, value in losses.items())
                )
            if self.step % KEEP_EVERY == 0 or self.step == self.settings.steps:
                partial = kept.with_suffix(".part")
                torch.save(self.state(), partial)
                partial.replace(kept)
