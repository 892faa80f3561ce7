"""How fast photos become vectors: against a bare loop, and against full decode with OpenCV's network.

python -m tools.bench.speed --photos 100 writes JSON to stdout. Every figure is a ratio within one run on
one machine, since seconds depend on the machine. The photos are the invented ones of sample_photos/,
enlarged to 12 megapixels with sensor noise added, so that their files are as large as a phone's (about 4
MB).
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import resource
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from hashlib import sha256
from pathlib import Path

import cv2
import numpy as np
import onnxruntime
from PIL import Image

from triage.features import VectorStore, default_recipe, embed_many, models_dir
from triage.features.backbone import Backbone, cell_view_px, square_view_px
from triage.imaging import examine

ROOT = Path(__file__).resolve().parents[2]
SIZE_PX = (4032, 3024)


def make_photos(folder: Path, count: int) -> list[tuple[str, Path]]:
    """Write ``count`` different 12-megapixel JPEGs and return (hash, path) pairs."""
    sources = sorted((ROOT / "sample_photos" / "photos").rglob("*.jpg"))
    rng = np.random.default_rng(12)
    noise = rng.normal(0, 6, (SIZE_PX[1], SIZE_PX[0], 1)).astype(np.int16)
    made = []
    for number in range(count):
        small = cv2.imread(str(sources[number % len(sources)]))
        large = cv2.resize(small, SIZE_PX, interpolation=cv2.INTER_CUBIC).astype(np.int16)
        large += np.roll(noise, 977 * number, axis=1)
        path = folder / f"photo-{number:05d}.jpg"
        cv2.imwrite(str(path), large.clip(0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 88])
        made.append((sha256(path.read_bytes()).hexdigest(), path))
    return made


def sizes_px() -> list[tuple[int, int]]:
    """Return (width, height) of every picture that the recipe shows the network, for one of these photos."""
    recipe = default_recipe()
    squares = [square_view_px(side, *SIZE_PX) for side in recipe.views]
    return [(side, side) for side in squares] + [cell_view_px(recipe.cell_long_side_px, *SIZE_PX)]


class Stopwatch:
    """Seconds on the wall and seconds of processor time since it was made; the latter bear a busy machine."""

    def __init__(self) -> None:
        self._start = time.perf_counter(), time.process_time()

    def read(self) -> tuple[float, float]:
        """Return (wall, processor) seconds."""
        return time.perf_counter() - self._start[0], time.process_time() - self._start[1]


def seconds_bare(photos: list[tuple[str, Path]], workers: int) -> tuple[float, float]:
    """Reduced decode by OpenCV and the same network runs, nothing else."""
    backbone = Backbone(default_recipe().backbone)
    sizes = sizes_px()

    def one(item: tuple[str, Path]) -> None:
        picture = cv2.imread(str(item[1]), cv2.IMREAD_REDUCED_COLOR_2)
        for size in sizes:
            view = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
            backbone.maps(view)

    one(photos[0])
    watch = Stopwatch()
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(one, photos))
    return watch.read()


def seconds_line(photos: list[tuple[str, Path]], workers: int, folder: Path) -> tuple[float, float]:
    """The line's own embedding, from nothing to vectors on the disk."""
    store = VectorStore(folder)
    watch = Stopwatch()
    for outcome in embed_many(photos, store, workers=workers):
        assert outcome.item
    taken = watch.read()
    assert not store.missing(sha for sha, _path in photos)
    return taken


def seconds_again(photos: list[tuple[str, Path]], folder: Path) -> float:
    """Asking which of the photos still have no vectors."""
    start = time.perf_counter()
    assert VectorStore(folder).missing(sha for sha, _path in photos) == []
    return time.perf_counter() - start


def seconds_plain(photos: list[tuple[str, Path]]) -> tuple[float, float]:
    """Full decode by Pillow and the 32-bit network in OpenCV, one photo after the other."""
    cv2.setNumThreads(1)
    network = cv2.dnn.readNetFromONNX(str(models_dir() / "efficientnet-lite0.onnx"))
    watch = Stopwatch()
    for _sha, path in photos:
        with Image.open(path) as image:
            picture = np.asarray(image.convert("RGB"))
        for size in sizes_px():
            view = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
            network.setInput(cv2.dnn.blobFromImage(view, 1 / 128, mean=(127, 127, 127)))
            network.forward(["last_map", "earlier_map", "classes"])
    return watch.read()


def seconds_examine(
    photos: list[tuple[str, Path]], folder: Path
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return (bare, ours), each (wall, processor) seconds.

    Read, hash, copy and one reduced decode, against the same with `examine`.
    """

    def bare(item: tuple[str, Path]) -> None:
        data = item[1].read_bytes()
        sha256(data).hexdigest()
        shutil.copyfile(item[1], folder / "copy.jpg")
        cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_REDUCED_COLOR_2)

    def ours(item: tuple[str, Path]) -> None:
        data = item[1].read_bytes()
        sha256(data).hexdigest()
        shutil.copyfile(item[1], folder / "copy.jpg")
        examine(data)

    return timed(bare, photos), timed(ours, photos)


def timed(step: Callable[[tuple[str, Path]], None], photos: list[tuple[str, Path]]) -> tuple[float, float]:
    """Return (wall, processor) seconds for a step over photos, after one to warm up."""
    step(photos[0])
    watch = Stopwatch()
    for item in photos:
        step(item)
    return watch.read()


def measure(count: int, workers: int) -> dict[str, object]:
    """Run everything and return the figures."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        photos = make_photos(folder, count)
        seconds_line(photos[:4], workers, folder / "warm")
        bare, line = [], []
        for repeat in range(3):
            bare.append(seconds_bare(photos, workers))
            line.append(seconds_line(photos, workers, folder / f"cache-{repeat}"))
        few = photos[: max(4, count // 10)]
        plain = seconds_plain(few)
        some = photos[: max(10, count // 4)]
        examine_bare, examine_ours = seconds_examine(some, folder)
        again = seconds_again(photos, folder / "cache-0")
        megabytes = sum(path.stat().st_size for _sha, path in photos) / len(photos) / 1e6
    wall, processor = (min(run[kind] for run in line) / count for kind in (0, 1))
    return {
        "photos": count,
        "megabytes_a_photo": round(megabytes, 2),
        "workers": workers,
        "backbone": default_recipe().backbone,
        "load_average": round(os.getloadavg()[0], 1),
        "seconds_for_500": round(500 * wall, 1),
        "processor_milliseconds_a_photo": round(1000 * processor, 1),
        "processor_seconds_for_500_by_core": round(500 * processor / workers, 1),
        "share_of_bare_loop": round(min(run[0] for run in bare) / count / wall, 3),
        "share_of_bare_loop_by_processor": round(min(run[1] for run in bare) / count / processor, 3),
        "times_plain_loop": round(plain[0] / len(few) / wall, 2),
        "times_plain_loop_by_processor": round(plain[1] / len(few) / processor, 2),
        "share_of_bare_examine_by_processor": round(examine_bare[1] / examine_ours[1], 3),
        "processor_milliseconds_examine": round(1000 * examine_ours[1] / len(some), 1),
        "seconds_nothing_new": round(again, 4),
        "peak_megabytes": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024),
        "processor": platform.processor() or platform.machine(),
        "cores": os.cpu_count(),
        "onnxruntime": onnxruntime.__version__,
    }


def main() -> int:
    """Parse, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=int, default=100)
    parser.add_argument("--workers", type=int, default=2)
    arguments = parser.parse_args()
    json.dump(measure(arguments.photos, arguments.workers), sys.stdout, indent=2)
    print()
    return 0


if __name__ == "__main__":
    sys.exit(main())
