"""The open pictures that projection and quantization are fitted on: no labels, no photo of the bench.

They are the sample photos that scikit-image and scikit-learn ship inside their packages (sources and
licenses in those packages) and the 147 rendered photos of invented decks of this project's first commit.
"""

from __future__ import annotations

import io
import subprocess
import tarfile
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

SKIMAGE = (
    "astronaut.png",
    "brick.png",
    "camera.png",
    "chelsea.png",
    "clock_motion.png",
    "coffee.png",
    "coins.png",
    "grass.png",
    "gravel.png",
    "motorcycle_left.png",
    "motorcycle_right.png",
)
SKLEARN = ("china.jpg", "flower.jpg")
RENDERS_COMMIT = "1a53a40"
ROOT = Path(__file__).resolve().parents[2]


def _render_bytes(renders: Path | None) -> Iterator[tuple[str, bytes]]:
    if renders:
        for path in sorted(renders.rglob("*.jpg")):
            yield path.relative_to(renders).as_posix(), path.read_bytes()
        return
    command = ["git", "-C", str(ROOT), "archive", RENDERS_COMMIT, "sample_photos/photos"]
    with tarfile.open(
        fileobj=io.BytesIO(subprocess.run(command, check=True, capture_output=True).stdout)
    ) as tar:
        for member in sorted(tar.getmembers(), key=lambda entry: entry.name):
            if member.name.endswith(".jpg"):
                yield member.name.removeprefix("sample_photos/photos/"), tar.extractfile(member).read()


def pictures(renders: Path | None = None) -> Iterator[tuple[str, bytes]]:
    """Yield (name, file bytes) of every picture, in a fixed order."""
    for package, names in (("skimage.data", SKIMAGE), ("sklearn.datasets.images", SKLEARN)):
        for name in names:
            yield f"{package}/{name}", (resources.files(package) / name).read_bytes()
    for name, data in _render_bytes(renders):
        yield f"renders/{name}", data


def variations(rgb: NDArray[np.uint8]) -> Iterator[NDArray[np.uint8]]:
    """Yield the picture and its mirror image, so that the projection favors neither side."""
    yield rgb
    yield np.ascontiguousarray(rgb[:, ::-1])
