# ruff: noqa: E501 - the card is written as it is read
"""Fits the frozen cell projection: principal components of cells of open pictures, without any label.

python -m tools.build_backbone.projection builds models/cell-projection.npz and its card.
"""

from __future__ import annotations

import argparse
import io
import sys
from hashlib import sha256
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tools.build_backbone.joined import joined_cells
from tools.build_backbone.pictures import RENDERS_COMMIT, pictures, variations
from triage.features.backbone import Backbone, cell_view_px
from triage.imaging import open_upright
from triage.imaging.decode import resample

MODELS = Path(__file__).resolve().parents[2] / "models"
CELLS_PER_PICTURE = 400
LONG_SIDE_PX = 1344
COMPONENTS = 128
CLIP = 0.0005


def gather_cells(backbone: Backbone, renders: Path | None) -> tuple[NDArray[np.float32], str]:
    """Return (n, 1952) cells of all pictures and a hash over the pictures."""
    rng = np.random.default_rng(20261125)
    rows, digest = [], sha256()
    for _name, data in pictures(renders):
        digest.update(sha256(data).digest())
        rgb = open_upright(data).rgb
        width, height = cell_view_px(LONG_SIDE_PX, rgb.shape[1], rgb.shape[0])
        for view in variations(resample(rgb, width, height)):
            cells = joined_cells(*backbone.maps(view))
            rows.append(cells[rng.permutation(len(cells))[: CELLS_PER_PICTURE // 2]])
    return np.concatenate(rows), digest.hexdigest()


def fit(cells: NDArray[np.float32]) -> dict[str, NDArray[np.float32]]:
    """Return mean, matrix (1952, C) and the 8-bit scale and offset of each projected number."""
    exact = cells.astype(np.float64)
    mean = exact.mean(axis=0)
    centered = exact - mean
    _values, vectors = np.linalg.eigh(centered.T @ centered / len(centered))
    components = vectors[:, ::-1][:, :COMPONENTS]
    components = components * np.sign(components[np.abs(components).argmax(axis=0), np.arange(COMPONENTS)])
    matrix = np.ascontiguousarray(components, np.float32)
    projected = centered @ matrix
    low, high = np.quantile(projected, [CLIP, 1 - CLIP], axis=0)
    return {
        "mean": mean.astype(np.float32),
        "matrix": matrix,
        "offset": low.astype(np.float32),
        "scale": ((high - low) / 255).astype(np.float32),
    }


CARD = """\
# Card of {name}, written by tools/build_backbone/projection.py.
file = "{name}"
sha256 = "{digest}"
bytes = {size}
cell_dim = {cell_dim}
what = "Projection of a cell (last map 1280 and earlier map 672 numbers, each of unit length) to 128 \
principal components, and the 8-bit scale of each"
backbone_sha256 = "{backbone}"
fitted_on = "{count} cells of the sample photos that scikit-image and scikit-learn ship and of the 147 rendered \
photos of invented decks of this project's commit {commit}, each with its mirror image; no labels; none of the real \
photos of the bench"
pictures_sha256 = "{pictures}"
variance_kept = {variance:.3f}
license = "Apache-2.0"
"""


def main() -> int:
    """Fit and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--renders", type=Path, help="folder of the rendered photos, instead of the history's"
    )
    parser.add_argument("--backbone", default="efficientnet-lite0.onnx")
    parser.add_argument("--out", default="cell-projection.npz")
    arguments = parser.parse_args()
    backbone = Backbone(arguments.backbone, threads=2, folder=MODELS)
    cells, pictures_digest = gather_cells(backbone, arguments.renders)
    arrays = fit(cells)
    buffer = io.BytesIO()
    np.savez(buffer, **arrays)
    data, target = buffer.getvalue(), MODELS / arguments.out
    target.write_bytes(data)
    centered = cells - arrays["mean"]
    kept = float(np.square(centered @ arrays["matrix"]).sum() / np.square(centered).sum())
    target.with_suffix(".toml").write_text(
        CARD.format(
            name=target.name,
            digest=sha256(data).hexdigest(),
            size=len(data),
            cell_dim=arrays["scale"].size,
            backbone=backbone.sha,
            count=len(cells),
            commit=RENDERS_COMMIT,
            pictures=pictures_digest,
            variance=kept,
        ),
        encoding="utf-8",
    )
    print(f"{target}: {len(data):,} bytes from {len(cells):,} cells, variance kept {kept}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
