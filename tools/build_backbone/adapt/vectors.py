"""The recipe's vectors by a network in torch, on a device: for the bench, where many networks are compared.

The same blocks as `triage.features.pooling`, many photos of one shape at once, in 32 bits.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import onnx
import torch
from numpy.typing import NDArray
from torch.nn import functional

from tools.build_backbone.adapt.network import FoldedNetwork
from tools.build_backbone.adapt.views import MEAN, SCALE

Array = NDArray[Any]
AT_ONCE = 8
Maps = tuple[torch.Tensor, torch.Tensor]


def network_on(file: Path, device: str) -> FoldedNetwork:
    """Return the network of a file, in 32 bits without shortened products."""
    torch.backends.cudnn.allow_tf32 = False
    return FoldedNetwork(onnx.load(file)).to(device).requires_grad_(False)


def whole_vectors(views: Sequence[Maps], cells: Maps) -> torch.Tensor:
    """Return (n, D): see `triage.features.pooling.whole_vector`."""

    def mean(found: torch.Tensor) -> torch.Tensor:
        return functional.normalize(found.mean((2, 3)))

    def most(found: torch.Tensor) -> torch.Tensor:
        return found.amax((2, 3))

    lasts, textures = [last for last, _earlier in (*views, cells)], (views[-1][1], cells[1])
    blocks = [
        sum(mean(last) for last in lasts),
        torch.stack([most(last) for last in lasts[:-1]]).amax(0),
        most(lasts[-1]),
        sum(mean(earlier) for earlier in textures),
        torch.stack([most(earlier) for earlier in textures]).amax(0),
    ]
    return torch.cat([functional.normalize(block) for block in blocks], dim=1)


def joined(cells: Maps) -> torch.Tensor:
    """Return (n, rows * cols, 1952): see `triage.features.pooling.joined_cells`."""
    last, earlier = cells[0], functional.max_pool2d(cells[1], 2)
    both = torch.cat([functional.normalize(last), functional.normalize(earlier)], dim=1)
    return both.flatten(2).transpose(1, 2)


def _read(pictures: Sequence[Array], device: str) -> torch.Tensor:
    stack = torch.from_numpy(np.stack(pictures)).to(device).permute(0, 3, 1, 2).float()
    return (stack - MEAN) * SCALE


def by_shape(photos: Sequence[tuple[list[Array], Array]]) -> Iterator[list[int]]:
    """Yield the numbers of photos whose pictures have the same shapes, a few at a time."""
    groups: dict[tuple[tuple[int, ...], ...], list[int]] = defaultdict(list)
    for number, (views, cells) in enumerate(photos):
        groups[tuple(one.shape for one in (*views, cells))].append(number)
    for found in groups.values():
        for first in range(0, len(found), AT_ONCE):
            yield found[first : first + AT_ONCE]


@torch.no_grad()
def vectors_on(
    network: FoldedNetwork, photos: Sequence[tuple[list[Array], Array]], device: str
) -> Iterator[tuple[list[int], Array, torch.Tensor, tuple[int, int]]]:
    """Yield numbers of photos, whole vectors (n, D), joined cells (n, cells, 1952) there, and the grid.

    photos : of each the square views and the cells' picture, uint8 (H, W, 3).
    """
    for numbers in by_shape(photos):
        sides = range(len(photos[numbers[0]][0]))
        views = [network(_read([photos[n][0][k] for n in numbers], device)) for k in sides]
        cells = network(_read([photos[n][1] for n in numbers], device))
        whole = whole_vectors(views, cells).cpu().numpy()
        yield numbers, whole, joined(cells), (int(cells[0].shape[2]), int(cells[0].shape[3]))
