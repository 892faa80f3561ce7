"""Invented vectors: decks of photos whose whole vector and one place among the cells carry the defect."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from triage.features.vectors import PhotoVectors
from triage.train import TrainingLabel

GRID = (8, 10)
WHOLE_DIM = 64
CELL_DIM = 16


@dataclass
class World:
    """Photos, labels and vectors of an invented library."""

    photos: list[tuple[str, str]] = field(default_factory=list)
    labels: list[TrainingLabel] = field(default_factory=list)
    vectors: dict[str, PhotoVectors] = field(default_factory=dict)

    def vectors_of(self, sha: str) -> PhotoVectors:
        return self.vectors[sha]


def photo_vectors(rng, present: bool, deck_mood, strength=1.0, cell_strength=3.0, place=None) -> PhotoVectors:
    """Vectors of one photo; a present one differs in the first number of the whole vector and at `place`."""
    whole = rng.normal(size=WHOLE_DIM) + deck_mood
    whole[0] += strength * 3 * present
    whole = np.concatenate([part / np.linalg.norm(part) for part in np.split(whole, 2)]).astype(np.float32)
    cells = rng.normal(size=(*GRID, CELL_DIM))
    if present and place is not None:
        row, col = place
        cells[row : row + 2, col : col + 3, 0] += cell_strength
    levels = np.clip(np.round((cells + 8) * 16), 0, 255).astype(np.uint8)
    return PhotoVectors(
        whole,
        levels,
        np.full(CELL_DIM, 1 / 16, np.float32),
        np.full(CELL_DIM, -8, np.float32),
        recipe_sha="made-up",
    )


def make_world(
    decks: int = 12,
    photos: int = 6,
    share: float = 0.3,
    strength: float = 1.0,
    boxes: bool = True,
    tag: str = "rusted-connector",
    seed: int = 0,
    **how,
) -> World:
    """Decks of photos, a third of the decks without the defect."""
    rng = np.random.default_rng(seed)
    world = World()
    for d in range(decks):
        mood = rng.normal(size=WHOLE_DIM) * 0.5
        for p in range(photos):
            present = d % 3 != 2 and (p == 0 or rng.random() < share)
            place = (int(rng.integers(GRID[0] - 1)), int(rng.integers(GRID[1] - 2)))
            sha = f"{seed:04x}{d:06x}{p:06x}".ljust(64, "0")
            world.photos.append((sha, f"deck-{d:03d}"))
            world.vectors[sha] = photo_vectors(rng, present, mood, strength, place=place, **how)
            box = (place[1] / GRID[1], place[0] / GRID[0], 3 / GRID[1], 2 / GRID[0])
            world.labels.append(
                TrainingLabel(
                    sha, tag, "present" if present else "absent", (box,) if boxes and present else ()
                )
            )
    return world
