"""The pictures that the network is adapted on, with their tags: open sets, our renders, made close-ups.

`pack` scales the open sets down once, so that they can be carried to a machine with a GPU; the packed folder
has the form of the given one (photos/ and labels.csv a set) and is read by the benches too.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from hashlib import sha256
from importlib import resources
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.bench.feature_sets import read_labels
from tools.build_backbone.adapt import surfaces
from tools.build_backbone.adapt.surfaces import MASK_STEP_PX
from tools.build_backbone.pictures import SKIMAGE, SKLEARN

Array = NDArray[Any]
OPEN_SETS = ("boards", "materials", "screws")
PACKED_SIDE_PX = {"boards": 1344, "materials": 640, "screws": 640}
PACKED_QUALITY = 85
VIEW_PX = 448
UNKNOWN = 255
SQUARES_A_PICTURE = 8
GROUND_SHOWN, THING_SHOWN = 0.3, 0.25


@dataclass
class PictureSet:
    """Pictures of one source.

    Attributes
    ----------
    name : of the source; keys : deck/file of each picture, or its number.
    tags : the source's own tags, ``source:tag``.
    dense : (n, H, W, 3) uint8, zero-padded, and sizes (n, 2) of what is not padding; (0, ...) where no boxes.
    masks : (n, tags, H/8, W/8) uint8, share covered 0 to 255; known : (n, tags) bool, where the mask is true.
    ignored : (n, H/8, W/8) bool, places that teach nothing.
    views : (n, 448, 448, 3) uint8, whole photos; labels : (n, tags) 0, 1 or UNKNOWN.
    """

    name: str
    keys: list[str]
    tags: list[str]
    dense: Array
    sizes: Array
    masks: Array
    known: Array
    ignored: Array
    views: Array
    labels: Array
    digest: str


def _read(path: Path) -> Array:
    found = cv2.imread(str(path), cv2.IMREAD_COLOR)
    if found is None:
        raise SystemExit(f"{path} is no picture")
    return np.ascontiguousarray(found[..., ::-1])


def _workers() -> int:
    return max(1, len(os.sched_getaffinity(0)))


def _packed(job: tuple[Path, Path, int]) -> int:
    source, target, side = job
    rgb = _read(source)
    scale = min(1.0, side / max(rgb.shape[:2]))
    if scale < 1:
        rgb = cv2.resize(rgb, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    target.parent.mkdir(parents=True, exist_ok=True)
    partial = target.with_suffix(".part.jpg")
    if not cv2.imwrite(str(partial), rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, PACKED_QUALITY]):
        raise SystemExit(f"{partial} cannot be written")
    partial.replace(target)
    return target.stat().st_size


def pack(photos: Path, packed: Path) -> int:
    """Scale the open sets down into ``packed``; what is there is not made again. Returns the bytes in all."""
    jobs, there = [], 0
    for name in OPEN_SETS:
        (packed / name).mkdir(parents=True, exist_ok=True)
        shutil.copyfile(photos / name / "labels.csv", packed / name / "labels.csv")
        for source in sorted((photos / name / "photos").glob("*/*.jpg")):
            target = packed / name / "photos" / source.parent.name / source.name
            if target.exists():
                there += target.stat().st_size
            else:
                jobs.append((source, target, PACKED_SIDE_PX[name]))
    with ProcessPoolExecutor(_workers()) as pool:
        return there + sum(pool.map(_packed, jobs, chunksize=8))


def box_mask(boxes: Iterable[list[float]], height: int, width: int, rows: int, cols: int) -> Array:
    """Return (rows, cols) uint8: share of each place of 8 pixels that the boxes (fractions) cover."""
    fine = np.zeros((rows * MASK_STEP_PX, cols * MASK_STEP_PX), np.uint8)
    for x, y, w, h in boxes:
        left, top = int(np.floor(x * width)), int(np.floor(y * height))
        right, bottom = int(np.ceil((x + w) * width)), int(np.ceil((y + h) * height))
        fine[max(top, 0) : max(bottom, top + 1), max(left, 0) : max(right, left + 1)] = 255
    return np.round(fine.reshape(rows, MASK_STEP_PX, cols, MASK_STEP_PX).mean(axis=(1, 3))).astype(np.uint8)


def _scaled(job: tuple[Path, int]) -> tuple[Array, Array, str]:
    path, side = job
    rgb = _read(path)
    scale = min(1.0, side / max(rgb.shape[:2]))
    size = [max(1, round(n * scale)) for n in rgb.shape[1::-1]]
    dense = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA) if scale < 1 else rgb
    view = cv2.resize(rgb, (VIEW_PX, VIEW_PX), interpolation=cv2.INTER_AREA)
    return dense, view, sha256(path.read_bytes()).hexdigest()


def _stacked(pictures: list[Array]) -> tuple[Array, Array]:
    sizes = np.array([picture.shape[:2] for picture in pictures])
    step = 4 * MASK_STEP_PX
    height, width = (-(-int(n) // step) * step for n in sizes.max(axis=0))
    stack = np.zeros((len(pictures), height, width, 3), np.uint8)
    for into, picture in zip(stack, pictures, strict=True):
        into[: picture.shape[0], : picture.shape[1]] = picture
    return stack, sizes


def labeled(folder: Path, name: str, left_out: frozenset[str], decks_out: tuple[str, ...] = ()) -> PictureSet:
    """Read a set of photos with labels.csv; boxes make dense truth, answers make whole-photo truth.

    ``left_out`` names tags whose labels and boxes are not used; places inside their boxes teach nothing.
    Photos of decks whose names begin with one of ``decks_out`` are not read at all.
    """
    labels, boxes = read_labels(folder / "labels.csv")
    files = [
        path
        for path in sorted((folder / "photos").glob("*/*.jpg"))
        if not path.parent.name.startswith(decks_out)
    ]
    keys = [f"{path.parent.name}/{path.name}" for path in files]
    with ProcessPoolExecutor(_workers()) as pool:
        side = PACKED_SIDE_PX.get(name, 1344)
        found = list(pool.map(_scaled, [(path, side) for path in files], chunksize=8))
    tags = sorted(tag for tag in labels if tag not in left_out)
    dense, sizes = _stacked([picture for picture, _view, _digest in found])
    rows, cols = dense.shape[1] // MASK_STEP_PX, dense.shape[2] // MASK_STEP_PX
    boxed = {tag for _photo, tag in boxes}
    masks = np.zeros((len(keys), len(tags), rows, cols), np.uint8)
    known = np.zeros((len(keys), len(tags)), bool)
    ignored = np.zeros((len(keys), rows, cols), bool)
    answers = np.full((len(keys), len(tags)), UNKNOWN, np.uint8)
    for number, key in enumerate(keys):
        height, width = sizes[number]
        for place, tag in enumerate(tags):
            answer = labels[tag].get(key)
            answers[number, place] = UNKNOWN if answer is None else answer
            drawn = boxes.get((key, tag), [])
            known[number, place] = tag in boxed and answer is not None and bool(drawn) == bool(answer)
            masks[number, place] = box_mask(drawn, height, width, rows, cols)
        hidden = [box for tag in left_out for box in boxes.get((key, tag), [])]
        ignored[number] = box_mask(hidden, height, width, rows, cols) > 0
    if not boxed:
        dense, sizes = dense[:0], sizes[:0]
    digest = sha256("".join(digest for *_rest, digest in found).encode()).hexdigest()
    named = [f"{name}:{tag}" for tag in tags]
    views = np.stack([view for _dense, view, _digest in found])
    return PictureSet(name, keys, named, dense, sizes, masks, known, ignored, views, answers, digest)


def opened() -> PictureSet:
    """Cut squares out of the open pictures of two packages; they have no tags and hold the network."""
    rng = np.random.default_rng(20261127)
    squares = []
    for package, names in (("skimage.data", SKIMAGE), ("sklearn.datasets.images", SKLEARN)):
        for name in names:
            data = (resources.files(package) / name).read_bytes()
            rgb = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)[..., ::-1]
            for _ in range(SQUARES_A_PICTURE):
                side = int(min(rgb.shape[:2]) * rng.uniform(0.4, 1))
                top, left = (int(rng.integers(0, n - side + 1)) for n in rgb.shape[:2])
                square = np.ascontiguousarray(rgb[top : top + side, left : left + side])
                squares.append(cv2.resize(square, (VIEW_PX, VIEW_PX), interpolation=cv2.INTER_AREA))
    views, count = np.stack(squares), len(squares)
    nothing = np.zeros((0, 32, 32, 3), np.uint8)
    return PictureSet(
        name="open",
        keys=[str(number) for number in range(count)],
        tags=[],
        dense=nothing,
        sizes=np.zeros((0, 2), int),
        masks=np.zeros((0, 0, 4, 4), np.uint8),
        known=np.zeros((0, 0), bool),
        ignored=np.zeros((0, 4, 4), bool),
        views=views,
        labels=np.zeros((count, 0), np.uint8),
        digest=sha256(views.tobytes()).hexdigest(),
    )


def _made_arrays(count: int, cache: Path) -> tuple[Array, Array]:
    """Pictures and masks, kept under the hash of the code that makes them."""
    code = sha256(Path(surfaces.__file__).read_bytes()).hexdigest()[:12]
    kept = cache / f"made-{code}-{count}.npz"
    if kept.exists():
        with np.load(kept, allow_pickle=False) as arrays:
            return arrays["dense"], arrays["masks"]
    with ProcessPoolExecutor(_workers()) as pool:
        found = list(pool.map(surfaces.made_picture, range(count), chunksize=16))
    dense, masks = (np.stack([one[k] for one in found]) for k in (0, 1))
    cache.mkdir(parents=True, exist_ok=True)
    partial = kept.with_suffix(f".{os.getpid()}.part.npz")
    np.savez(partial, dense=dense, masks=masks)
    partial.replace(kept)
    return dense, masks


def shown(masks: Array) -> Array:
    """Return (n, tags): 1 where a made picture plainly shows the tag, 0 where not at all, UNKNOWN between."""
    grounds = np.array([tag in surfaces.GROUNDS for tag in surfaces.TAGS])
    plain = np.where(
        grounds, masks.mean(axis=(2, 3)) > GROUND_SHOWN * 255, masks.max(axis=(2, 3)) > THING_SHOWN * 255
    )
    return np.where(plain, 1, np.where(masks.max(axis=(2, 3)) == 0, 0, UNKNOWN)).astype(np.uint8)


def made(count: int, cache: Path) -> PictureSet:
    """Make ``count`` close-ups with exact truth; they are whole photos too."""
    dense, masks = _made_arrays(count, cache)
    side = surfaces.SIDE_PX // MASK_STEP_PX
    return PictureSet(
        name="made",
        keys=[str(number) for number in range(count)],
        tags=[f"made:{tag}" for tag in surfaces.TAGS],
        dense=dense,
        sizes=np.full((count, 2), surfaces.SIDE_PX),
        masks=masks,
        known=np.ones((count, len(surfaces.TAGS)), bool),
        ignored=np.zeros((count, side, side), bool),
        views=dense,
        labels=shown(masks),
        digest=sha256(dense.tobytes()).hexdigest(),
    )
