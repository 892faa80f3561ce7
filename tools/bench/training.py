"""How long training takes: 2,000 invented photos, ten tags, from labels and kept vectors to models.

    tools/bench/run training [--photos 2000] [--tags 10] [--decks 100] [--boxed 0.7] [--profile FILE]

The vectors are invented, of the shipped recipe's sizes: every tag lifts a few numbers of the whole vector and
of the cells at one place. Half of the photos of a tag's decks show it, two decks in three never do. Prints
seconds on the wall and of the processor, how many models were fitted, and the load of the machine.
"""

from __future__ import annotations

import argparse
import cProfile
import json
import os
import resource
import sys
import time
from typing import TYPE_CHECKING

import numpy as np

from triage.features import PhotoVectors, default_recipe
from triage.train import TagModel, TrainingLabel, train_tags

if TYPE_CHECKING:
    from triage.train import TooFew

GRID = (32, 42)
SHIFT = 24
"""Steps of 8 bits by which a defect lifts its numbers of a cell; the noise has a spread of about 30."""


def make_photo(
    draw: np.random.Generator, shown: list[int], mood: np.ndarray
) -> tuple[PhotoVectors, list[tuple[float, ...]]]:
    """Return vectors of a photo that shows some tags, and a box for each of them."""
    recipe = default_recipe()
    whole = draw.normal(size=recipe.whole_dim).astype(np.float32) + mood
    cells = np.clip(draw.normal(128, 30, (*GRID, recipe.cell_dim)) + 0.5, 0, 255).astype(np.uint8)
    boxes = []
    for tag in shown:
        whole[tag * 40 : tag * 40 + 40] += 1.0
        row, column = int(draw.integers(GRID[0] - 2)), int(draw.integers(GRID[1] - 2))
        spot = cells[row : row + 2, column : column + 3, tag * 6 : tag * 6 + 6]
        spot[:] = np.clip(spot.astype(int) + SHIFT, 0, 255)
        boxes.append((column / GRID[1], row / GRID[0], 3 / GRID[1], 2 / GRID[0]))
    edges = np.cumsum((0, *recipe.whole_blocks))
    for low, high in zip(edges, edges[1:], strict=False):
        whole[low:high] /= np.linalg.norm(whole[low:high])
    scale = np.full(recipe.cell_dim, 1 / 30, np.float32)
    return PhotoVectors(whole, cells, scale, np.float32(-128) * scale, recipe.sha), boxes


def make_library(
    photos: int, tags: int, decks: int, boxed: float, seed: int = 0
) -> tuple[list[tuple[str, str]], list[TrainingLabel], dict[str, PhotoVectors]]:
    """Return photos with decks, labels of every photo for every tag, vectors."""
    draw = np.random.default_rng(seed)
    has = draw.random((decks, tags)) < 1 / 3
    moods = draw.normal(0, 0.5, (decks, default_recipe().whole_dim)).astype(np.float32)
    found, labels, vectors = [], [], {}
    for number in range(photos):
        deck = number % decks
        sha = f"{number:08x}".ljust(64, "0")
        shown = [tag for tag in range(tags) if has[deck, tag] and draw.random() < 0.5]
        vectors[sha], boxes = make_photo(draw, shown, moods[deck])
        found.append((sha, f"deck-{deck:03d}"))
        box_of = dict(zip(shown, boxes, strict=True))
        for tag in range(tags):
            at = (box_of[tag],) if tag in box_of and draw.random() < boxed else ()
            value = "present" if tag in box_of else "absent"
            labels.append(TrainingLabel(sha, f"tag-{tag}", value, at, asked_by="deck"))
    return found, labels, vectors


def fitted(model: TagModel | TooFew) -> int:
    """Number of linear models behind one tag."""
    if not isinstance(model, TagModel):
        return 0
    parts = [model.whole, model.cells]
    for group in (model.fold_models, model.leave_one_out):
        parts += [group.whole, group.cells] if group is not None else []
    return sum(len(part.bias) for part in parts if part is not None)


def main() -> int:
    """Make the library, train, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--photos", type=int, default=2000)
    parser.add_argument("--tags", type=int, default=10)
    parser.add_argument("--decks", type=int, default=100)
    parser.add_argument("--boxed", type=float, default=0.7, help="share of the positives that carry a box")
    parser.add_argument("--profile", metavar="FILE", help="write a profile of one thread's view")
    options = parser.parse_args()
    photos, labels, vectors = make_library(options.photos, options.tags, options.decks, options.boxed)
    tags = sorted({label.tag for label in labels})
    profile = cProfile.Profile() if options.profile else None
    wall, processor = time.perf_counter(), time.process_time()
    if profile is not None:
        profile.enable()
    models = train_tags(photos, labels, vectors.__getitem__, tags=tags)
    if profile is not None:
        profile.disable()
        profile.dump_stats(options.profile)
    made = [one for one in models.values() if isinstance(one, TagModel)]
    precisions = [one.figures.average_precision for one in made]
    result = {
        "photos": options.photos,
        "tags": options.tags,
        "boxed": options.boxed,
        "seconds": round(time.perf_counter() - wall, 1),
        "processor_seconds": round(time.process_time() - processor, 1),
        "models": sum(fitted(one) for one in models.values()),
        "promises_that_hold": sum(one.promise.holds for one in made),
        "average_precision": round(float(np.mean(precisions)), 3),
        "peak_megabytes": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
        "load_average": round(os.getloadavg()[0], 1),
        "cores": os.cpu_count(),
    }
    json.dump(result, sys.stdout, indent=2)
    print()
    return 0


if __name__ == "__main__":
    sys.exit(main())
