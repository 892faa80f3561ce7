"""Batches on the device: parts of pictures turned, scaled and lit again, with their truth by cells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import torch
from torch.nn import functional

from tools.build_backbone.adapt.sets import UNKNOWN, PictureSet

MEAN, SCALE = 127.0, 1 / 128.0
WHOLE_SIDES = (224, 320, 448)
THING_PRESENT, GROUND_PRESENT, BOX_PRESENT = 0.04, 0.5, 0.12
ABSENT = 0.004
SPOT = 25


@dataclass
class OnDevice:
    """A source's pictures as tensors, and where its tags are among all tags.

    ``spots`` are the places (rows, columns of the masks) of each picture that show something.
    """

    name: str
    dense: torch.Tensor
    sizes: torch.Tensor
    masks: torch.Tensor
    known: torch.Tensor
    ignored: torch.Tensor
    views: torch.Tensor
    labels: torch.Tensor
    first: int
    present: torch.Tensor
    spots: list[torch.Tensor]
    sizes_px: torch.Tensor

    @classmethod
    def of(cls, found: PictureSet, first: int, device: str) -> OnDevice:
        """Move a set to the device; its tags begin at ``first``."""
        grounds = {"made:wood", "made:concrete", "made:brick", "made:painted"}
        present = [
            GROUND_PRESENT if tag in grounds else THING_PRESENT if found.name == "made" else BOX_PRESENT
            for tag in found.tags
        ]

        def put(array: object) -> torch.Tensor:
            return torch.as_tensor(array).to(device)

        dense = put(found.dense)
        spots = [torch.from_numpy(np.argwhere((mask > SPOT).any(axis=0))) for mask in found.masks]
        return cls(
            found.name, dense, put(found.sizes), put(found.masks), put(found.known), put(found.ignored),
            dense if found.views is found.dense else put(found.views), put(found.labels), first,
            torch.tensor(present, device=device), spots, torch.as_tensor(found.sizes).float(),
        )  # fmt: skip


def _uniform(generator: torch.Generator, low: float, high: float, *shape: int) -> torch.Tensor:
    return low + (high - low) * torch.rand(shape, generator=generator)


def crops(data: OnDevice, count: int, side_px: int, generator: torch.Generator) -> tuple[torch.Tensor, ...]:
    """Return pictures (n, 3, S, S) 0 to 255, targets (n, tags, S/8, S/8) and weights of the same shape.

    Each is a part of a picture at .7 to 1.4 of its size, turned by up to 10 degrees or a quarter, mirrored;
    half of them are laid about a place that holds something, where there is one.
    """
    device = data.dense.device
    index = torch.randint(len(data.dense), (count,), generator=generator)
    at = index.to(device)
    height, width = data.dense.shape[1:3]
    sizes = data.sizes_px[index]
    half = side_px / 2 / _uniform(generator, 0.7, 1.4, count)
    y, x = ((_uniform(generator, 0, 1, count)) * sizes[:, k] for k in (0, 1))
    for row, place in enumerate(index.tolist()):
        if torch.rand(1, generator=generator) < 0.5:
            spots = data.spots[place]
            if len(spots):
                spot = spots[torch.randint(len(spots), (1,), generator=generator).item()]
                y[row], x[row] = (spot.float() + 0.5) * 8
    inner = half * 0.75
    y = torch.where(sizes[:, 0] > 2 * inner, y.clamp(min=inner).minimum(sizes[:, 0] - inner), sizes[:, 0] / 2)
    x = torch.where(sizes[:, 1] > 2 * inner, x.clamp(min=inner).minimum(sizes[:, 1] - inner), sizes[:, 1] / 2)
    turn = _uniform(generator, -0.17, 0.17, count) + torch.pi / 2 * torch.randint(
        4, (count,), generator=generator
    )
    mirror = 1.0 - 2.0 * torch.randint(2, (count,), generator=generator)
    cos, sin = turn.cos() * half, turn.sin() * half
    theta = torch.stack(
        [
            torch.stack([cos * mirror * 2 / width, -sin * 2 / width, 2 * x / width - 1], dim=1),
            torch.stack([sin * mirror * 2 / height, cos * 2 / height, 2 * y / height - 1], dim=1),
        ],
        dim=1,
    ).to(device)
    pictures = data.dense[at].permute(0, 3, 1, 2).float()
    grid = functional.affine_grid(theta, [count, 3, side_px, side_px], align_corners=False)
    pictures = functional.grid_sample(pictures, grid, padding_mode="border", align_corners=False)
    coarse = functional.affine_grid(theta, [count, 1, side_px // 8, side_px // 8], align_corners=False)
    masks = functional.grid_sample(data.masks[at].float() / 255, coarse, align_corners=False)
    rows, cols = (torch.arange(n, device=device) * 8 for n in data.masks.shape[2:])
    inside = (rows[:, None] < data.sizes[at][:, 0, None, None]) & (cols < data.sizes[at][:, 1, None, None])
    usable = (inside & ~data.ignored[at]).float()[:, None]
    usable = functional.grid_sample(usable, coarse, align_corners=False)
    return pictures, masks, usable * data.known[at][:, :, None, None]


def cell_targets(
    masks: torch.Tensor, weights: torch.Tensor, present: torch.Tensor, places: int
) -> tuple[torch.Tensor, torch.Tensor]:
    """Return targets and weights (n, tags, S/8/places, ...) of cells that are ``places`` wide.

    A cell has what covers more than the tag's share, lacks what it does not show at all; between the two, and
    where a part of it is unknown or beyond the picture, it teaches nothing.
    """
    share = functional.avg_pool2d(masks, places)
    least = -functional.max_pool2d(-weights, places)
    targets = (share >= present[:, None, None]).float()
    sure = (share >= present[:, None, None]) | (share < ABSENT)
    return targets, sure.float() * (least > 0.5)


def whole(data: OnDevice, count: int, side_px: int, generator: torch.Generator) -> tuple[torch.Tensor, ...]:
    """Return whole photos (n, 3, S, S) 0 to 255, mirrored at random, targets and weights (n, tags)."""
    at = torch.randint(len(data.views), (count,), generator=generator).to(data.views.device)
    mirrored = torch.randint(2, (count,), generator=generator).to(at.device)[:, None, None, None]
    pictures = data.views[at].permute(0, 3, 1, 2).float()
    pictures = torch.where(mirrored > 0, pictures.flip(3), pictures)
    if side_px != pictures.shape[2]:
        pictures = functional.interpolate(
            pictures, (side_px, side_px), mode="bilinear", antialias=True, align_corners=False
        )
    labels = data.labels[at]
    return pictures, (labels == 1).float(), (labels != UNKNOWN).float()


def relit(pictures: torch.Tensor, strength: float, generator: torch.Generator) -> torch.Tensor:
    """Return the pictures in other light, with other colors, blur and noise, as the network reads them."""
    count, device = len(pictures), pictures.device

    def draw(spread: float, *shape: int) -> torch.Tensor:
        return (torch.randn(shape, generator=generator) * spread * strength).to(device)

    seen = pictures / 255
    gamma = torch.exp(draw(0.2, count, 1, 1, 1))
    gain = torch.exp(draw(0.15, count, 1, 1, 1) + draw(0.06, count, 3, 1, 1))
    seen = (seen.clamp(1e-3, 1) ** gamma) * gain
    gray = seen.mean(dim=1, keepdim=True)
    seen = gray + (seen - gray) * torch.exp(draw(0.2, count, 1, 1, 1))
    soft = functional.avg_pool2d(functional.pad(seen, (1, 1, 1, 1), mode="replicate"), 3, 1)
    blend = (torch.rand((count, 1, 1, 1), generator=generator) * strength).to(device)
    seen = seen + (soft - seen) * blend * (torch.rand((count, 1, 1, 1), generator=generator) < 0.4).to(device)
    grain = torch.Generator(device).manual_seed(int(torch.randint(1 << 40, (1,), generator=generator)))
    noise = torch.randn(count, 1, *seen.shape[2:], generator=grain, device=device)
    seen = seen + noise * (0.02 * strength * torch.rand((count, 1, 1, 1), generator=generator)).to(device)
    return (seen.clamp(0, 1) * 255 - MEAN) * SCALE
