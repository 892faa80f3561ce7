"""The cache of vectors: one small file per photo and recipe, written whole or not at all.

A file is a fixed header, the whole-photo vector as float16, the cells as uint8, and the cells' scale and
offset as float32, with a checksum for each part. A file that does not check out counts as absent and is
computed again. The folder may be deleted at any time. Nothing in it is code: no pickle.
"""

from __future__ import annotations

import os
import struct
import tempfile
import zlib
from collections import defaultdict
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from triage.errors import BadInput, TriageError
from triage.features.recipe import default_recipe
from triage.features.vectors import PhotoVectors, Recipe

if TYPE_CHECKING:
    from numpy.typing import NDArray

_MAGIC = b"DTVEC001"
# magic, photo sha, recipe sha, D, rows, cols, C, checksum of whole, of cells with scales, of this header
_HEADER = struct.Struct("<8s32s32sIHHHII")
_CRC = struct.Struct("<I")
_WHOLE_AT = _HEADER.size + _CRC.size
_MOST_NUMBERS = 1 << 20


def pack(sha: str, vectors: PhotoVectors) -> bytes:
    """Return the file's bytes for one photo."""
    whole = vectors.whole.astype("<f2").tobytes()
    cells = vectors.cells.tobytes()
    scales = vectors.cell_scale.astype("<f4").tobytes() + vectors.cell_offset.astype("<f4").tobytes()
    rows, cols, dim = vectors.cells.shape
    header = _HEADER.pack(
        _MAGIC,
        bytes.fromhex(sha),
        bytes.fromhex(vectors.recipe_sha),
        vectors.whole.size,
        rows,
        cols,
        dim,
        zlib.crc32(whole),
        zlib.crc32(scales, zlib.crc32(cells)),
    )
    return header + _CRC.pack(zlib.crc32(header)) + whole + cells + scales


def _read_header(data: bytes, sha: str, recipe_sha: str) -> tuple[int, int, int, int, int, int] | None:
    """Return D, rows, cols, C and the two checksums, or None when the header is not this photo's."""
    if len(data) < _WHOLE_AT:
        return None
    header = data[: _HEADER.size]
    magic, photo, recipe, whole, rows, cols, dim, whole_crc, cells_crc = _HEADER.unpack(header)
    if magic != _MAGIC or _CRC.unpack(data[_HEADER.size : _WHOLE_AT])[0] != zlib.crc32(header):
        return None
    if photo.hex() != sha or recipe.hex() != recipe_sha or whole + rows * cols * dim > _MOST_NUMBERS:
        return None
    return whole, rows, cols, dim, whole_crc, cells_crc


def unpack(data: bytes, sha: str, recipe_sha: str) -> PhotoVectors | None:
    """Return the vectors, or None when the bytes are damaged or belong to another photo or recipe."""
    header = _read_header(data, sha, recipe_sha)
    if header is None:
        return None
    whole_dim, rows, cols, dim, whole_crc, cells_crc = header
    cells_at = _WHOLE_AT + 2 * whole_dim
    scales_at = cells_at + rows * cols * dim
    if len(data) != scales_at + 8 * dim:
        return None
    if zlib.crc32(data[_WHOLE_AT:cells_at]) != whole_crc or zlib.crc32(data[cells_at:]) != cells_crc:
        return None
    scales = np.frombuffer(data, "<f4", 2 * dim, scales_at)
    return PhotoVectors(
        whole=np.frombuffer(data, "<f2", whole_dim, _WHOLE_AT).astype(np.float32),
        cells=np.frombuffer(data, np.uint8, rows * cols * dim, cells_at).reshape(rows, cols, dim),
        cell_scale=scales[:dim],
        cell_offset=scales[dim:],
        recipe_sha=recipe_sha,
    )


class VectorStore:
    """Vectors by photo hash, for one recipe, below a cache folder.

    Parameters
    ----------
    folder : the cache folder, shared by all recipes; made when the first vectors are put.
    recipe : the recipe whose vectors are meant; the default recipe when not given.
    """

    def __init__(self, folder: str | Path, recipe: Recipe | None = None) -> None:
        self.recipe = recipe or default_recipe()
        self.folder = Path(folder) / self.recipe.sha[:16]

    def path(self, sha: str) -> Path:
        """Return where the vectors of a photo are or would be.

        Raises
        ------
        BadInput
            when ``sha`` is not a SHA-256 in lower-case hex.
        """
        if len(sha) != 64 or not set(sha) <= set("0123456789abcdef"):
            raise BadInput(f"{sha[:80]!r} is not a photo hash.")
        return self.folder / sha[:2] / f"{sha}.vec"

    def has(self, sha: str) -> bool:
        """Say whether there is a file for the photo; only reading it tells whether it is sound."""
        return self.path(sha).is_file()

    def missing(self, shas: Iterable[str]) -> list[str]:
        """Return the photos without a file, in the given order; reads at most 256 folders, one at a time."""
        given = list(shas)
        by_folder: dict[str, list[str]] = defaultdict(list)
        for sha in given:
            by_folder[sha[:2]].append(sha)
        absent: set[str] = set()
        for name, some in by_folder.items():
            folder = self.folder / name
            there = {entry.name for entry in os.scandir(folder)} if folder.is_dir() else set()
            absent.update(sha for sha in some if f"{sha}.vec" not in there)
        return [sha for sha in given if sha in absent]

    def get(self, sha: str) -> PhotoVectors | None:
        """Return a photo's vectors, or None when there are none or the file is damaged."""
        try:
            data = self.path(sha).read_bytes()
        except OSError:
            return None
        return unpack(data, sha, self.recipe.sha)

    def put(self, sha: str, vectors: PhotoVectors) -> None:
        """Keep a photo's vectors: temporary name, fsync, rename.

        Raises
        ------
        BadInput
            when the vectors come from another recipe.
        TriageError
            when they cannot be written, as on a full disk.
        """
        if vectors.recipe_sha != self.recipe.sha:
            raise BadInput("These vectors were made by another recipe than this cache holds.")
        target = self.path(sha)
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            _write_atomically(target, pack(sha, vectors))
        except OSError as error:
            raise TriageError(
                f"The vectors of photo {sha[:12]} cannot be kept: {error.strerror or error}.",
                "Free some disk space; the cache folder may be deleted at any time.",
            ) from error

    def whole(self, sha: str) -> NDArray[np.float32] | None:
        """Return a photo's whole vector (D,) without reading its cells, or None."""
        length = _WHOLE_AT + 2 * self.recipe.whole_dim
        try:
            with self.path(sha).open("rb") as stream:
                data = stream.read(length)
        except OSError:
            return None
        header = _read_header(data, sha, self.recipe.sha)
        if header is None or header[0] != self.recipe.whole_dim or len(data) != length:
            return None
        if zlib.crc32(data[_WHOLE_AT:]) != header[4]:
            return None
        return np.frombuffer(data, "<f2", self.recipe.whole_dim, _WHOLE_AT).astype(np.float32)

    def whole_matrix(self, shas: Sequence[str]) -> NDArray[np.float32]:
        """Return (n, D) float32, a row per photo in the given order.

        Raises
        ------
        BadInput
            when a photo has no sound vectors; embed it first.
        """
        matrix = np.empty((len(shas), self.recipe.whole_dim), np.float32)
        for row, sha in zip(matrix, shas, strict=True):
            vector = self.whole(sha)
            if vector is None:
                raise BadInput(f"Photo {sha[:12]} has no vectors yet.", "Run `deck-triage embed` first.")
            row[:] = vector
        return matrix

    def drop(self, sha: str) -> None:
        """Forget a photo's vectors; nothing happens when there are none."""
        with suppress(FileNotFoundError):
            self.path(sha).unlink()


def _write_atomically(target: Path, data: bytes) -> None:
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=".", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        Path(name).replace(target)
    except BaseException:
        with suppress(OSError):
            Path(name).unlink()
        raise
