"""Raw features of the bench's photos, extracted once and kept: the parts that recipes are made of."""

from __future__ import annotations

import csv
from collections import defaultdict
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.build_backbone.joined import joined_cells
from triage.features.backbone import Backbone, cell_view_px, square_view_px
from triage.features.models import read_card
from triage.features.pooling import mean_and_max
from triage.imaging import open_upright
from triage.imaging.decode import resample

Array = NDArray[Any]
FULL, SMALL = "efficientnet-lite0.onnx", "efficientnet-lite0-adapted-int8.onnx"
CELLS_LONG_SIDE_PX = 1344
EXTRACTION = 1


@dataclass
class FeatureSet:
    """One set of photos: keys (deck/file), pooled parts (n, d), labels by tag, boxes, cells of boxed sets."""

    name: str
    keys: list[str]
    parts: dict[str, Array]
    labels: dict[str, dict[str, int]]
    boxes: dict[tuple[str, str], list[list[float]]] = field(default_factory=dict)
    cells: dict[str, list[Array]] = field(default_factory=dict)
    grids: list[tuple[int, int]] = field(default_factory=list)

    @property
    def decks(self) -> Array:
        """Deck of each photo."""
        return np.array([key.split("/")[0] for key in self.keys])


def read_labels(path: Path) -> tuple[dict[str, dict[str, int]], dict[tuple[str, str], list[list[float]]]]:
    """Return present/absent by tag and photo, boxes by (photo, tag), of a file that `label read` takes."""
    labels: dict[str, dict[str, int]] = defaultdict(dict)
    boxes: dict[tuple[str, str], list[list[float]]] = {}
    with path.open(newline="", encoding="utf-8") as stream:
        for row in csv.DictReader(stream):
            if row["value"] not in ("present", "absent"):
                continue
            labels[row["tag"]][row["photo"]] = int(row["value"] == "present")
            if row.get("box") and row["value"] == "present":
                found = [[float(number) for number in box.split(",")] for box in row["box"].split(";")]
                boxes.setdefault((row["photo"], row["tag"]), []).extend(found)
    return dict(labels), boxes


def rust_colors(rgb: Array) -> Array:
    """Return (64,): how pixels' log chromaticities lie around the photo's own median.

    Taking the median away removes the white balance, which multiplies each channel (von Kries).
    """
    small = np.maximum(resample(rgb, 224, 224).reshape(-1, 3).astype(np.float32), 4)
    logs = np.log2(small)
    chroma = np.stack([logs[:, 0] - logs[:, 1], logs[:, 2] - logs[:, 1]], axis=1)
    chroma -= np.median(chroma, axis=0)
    histogram, _, _ = np.histogram2d(chroma[:, 0], chroma[:, 1], bins=8, range=[[-0.5, 1.5], [-2.0, 0.5]])
    return np.sqrt(histogram.ravel() / len(chroma)).astype(np.float32)


def _pooled(name: str, maps: tuple[Array, Array], into: dict[str, Array]) -> None:
    for part, found in zip(("last", "earlier"), maps, strict=True):
        into[f"{name} {part} mean"], into[f"{name} {part} max"] = mean_and_max(found)


def parts_of_photo(
    path: Path, networks: dict[str, Backbone], boxed: bool
) -> tuple[dict[str, Array], dict[str, Array]]:
    """Return the pooled parts and, of a boxed set, the joined cells (float16, by network) of one photo."""
    image = open_upright(path, CELLS_LONG_SIDE_PX)
    size = cell_view_px(CELLS_LONG_SIDE_PX, image.full_width, image.full_height)
    large = resample(image.rgb, *size)
    parts: dict[str, Array] = {"color": rust_colors(image.rgb)}
    cells: dict[str, Array] = {}
    for name, network in networks.items():
        for side in (224, 384, 448) if name == FULL else (224, 448):
            side_px = square_view_px(side, image.full_width, image.full_height)
            view = resample(large, side_px, side_px)
            _pooled(f"{name} {side}", network.maps(view), parts)
            if name == FULL and side != 384:
                _pooled(f"{name} {side} flipped", network.maps(cv2.flip(view, 1)), parts)
        maps = network.maps(large)
        _pooled(f"{name} cells", maps, parts)
        if boxed:
            cells[f"joined {name}"] = joined_cells(*maps).astype(np.float16)
        parts[f"{name} grid"] = np.array(maps[0].shape[1:])
    return parts, cells


def extract(name: str, photos: Path, labels: Path, cache: Path) -> FeatureSet:
    """Return a set's features, computing and keeping those that the cache lacks."""
    tags, boxes = read_labels(labels)
    files = sorted(photos.glob("*/*.jpg"))
    keys = [f"{path.parent.name}/{path.name}" for path in files]
    versions = str([EXTRACTION, read_card(FULL)["sha256"], read_card(SMALL)["sha256"]])
    folder = cache / sha256(versions.encode()).hexdigest()[:12] / name
    folder.mkdir(parents=True, exist_ok=True)
    networks: dict[str, Backbone] = {}
    rows: list[dict[str, Array]] = []
    cells: dict[str, list[Array]] = defaultdict(list)
    for path, key in zip(files, keys, strict=True):
        kept = folder / f"{key.replace('/', '--')}.npz"
        if not kept.exists():
            networks = networks or {FULL: Backbone(FULL), SMALL: Backbone(SMALL)}
            parts, joined = parts_of_photo(path, networks, bool(boxes))
            partial = kept.with_suffix(".part.npz")
            np.savez(partial, **{f"part {part}": values for part, values in parts.items()}, **joined)
            partial.replace(kept)
        with np.load(kept, allow_pickle=False) as stored:
            rows.append({part[5:]: stored[part] for part in stored.files if part.startswith("part ")})
            for part in stored.files:
                if part.startswith("joined "):
                    cells[part[7:]].append(stored[part])
    grids = [(int(row[f"{FULL} grid"][0]), int(row[f"{FULL} grid"][1])) for row in rows]
    stacked = {part: np.stack([row[part] for row in rows]).astype(np.float32) for part in rows[0]}
    return FeatureSet(name, keys, stacked, tags, boxes, dict(cells), grids)
