"""Models on disk: arrays in one npz, everything else in one JSON file; nothing that runs when it is read.

`arrays.npz` is opened with ``allow_pickle=False`` and only arrays that the JSON file names, of the shapes
that it states, are taken. The JSON file states the hash of the arrays; the model hash covers both.
"""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from triage.errors import Damaged
from triage.library.store import write_whole
from triage.train.types import Calibration, Figures, LeaveOneOutModels, Linear, Promise, TagModel, TooFew

if TYPE_CHECKING:
    from numpy.typing import NDArray

FORMAT = 2
READ = (1, 2)
"""Formats that can be read: models of 1 look at each cell alone."""
ARRAYS = "arrays.npz"
MODEL = "model.json"
MOST_ARRAY_BYTES = 1_000_000_000
MOST_JSON_BYTES = 200_000_000
_PARTS = ("whole", "cells", "fold_whole", "fold_cells", "guard_whole", "guard_cells")
_BLENDS = ("fold_blend", "guard_blend")


def save_model(models: Mapping[str, TagModel | TooFew], folder: Path) -> str:
    """Write the models of all tags; returns the model hash (hex SHA-256).

    Tags with too few labels are kept by their reasons. Files appear whole or not at all.
    """
    folder.mkdir(parents=True, exist_ok=True)
    arrays: dict[str, NDArray[Any]] = {}
    tags: dict[str, Any] = {}
    for number, (tag, model) in enumerate(sorted(models.items())):
        if isinstance(model, TooFew):
            tags[tag] = {"too_few": asdict(model)}
        else:
            tags[tag] = {"number": number, "model": _plain(model)}
            arrays.update({f"{number}/{name}": array for name, array in _arrays(model).items()})
    packed = _pack(arrays)
    shapes = {name: list(array.shape) for name, array in arrays.items()}
    body = {"format": FORMAT, "arrays": hashlib.sha256(packed).hexdigest(), "shapes": shapes, "tags": tags}
    text = json.dumps(body, sort_keys=True, allow_nan=False, separators=(",", ":"))
    model_hash = hashlib.sha256(text.encode()).hexdigest()
    write_whole(folder / ARRAYS, packed)
    write_whole(folder / MODEL, json.dumps({"model": model_hash, "body": body}, sort_keys=True).encode())
    return model_hash


def load_model(folder: Path) -> dict[str, TagModel | TooFew]:
    """Read what `save_model` wrote.

    Raises
    ------
    Damaged : a file is missing, too large, of another format, or does not match its hash.
    """
    body = _body(folder)[1]
    packed = _read(folder / ARRAYS, MOST_ARRAY_BYTES)
    if hashlib.sha256(packed).hexdigest() != body.get("arrays"):
        raise _damaged(folder, "its arrays do not match their hash")
    try:
        arrays = _unpack(packed, body["shapes"])
        return {tag: _model(entry, arrays) for tag, entry in body["tags"].items()}
    except (KeyError, TypeError, ValueError, zipfile.BadZipFile, AttributeError) as error:
        raise _damaged(folder, f"{type(error).__name__} in its contents") from error


def model_hash(folder: Path) -> str:
    """The hash of a stored model (hex SHA-256), checked against the model's JSON file.

    Raises
    ------
    Damaged : as `load_model`.
    """
    return _body(folder)[0]


def _body(folder: Path) -> tuple[str, dict[str, Any]]:
    try:
        outer = json.loads(_read(folder / MODEL, MOST_JSON_BYTES))
        body = outer["body"]
        text = json.dumps(body, sort_keys=True, allow_nan=False, separators=(",", ":"))
    except (ValueError, KeyError, TypeError) as error:
        raise _damaged(folder, "its description cannot be read") from error
    if hashlib.sha256(text.encode()).hexdigest() != outer.get("model"):
        raise _damaged(folder, "its description does not match its hash")
    if body.get("format") not in READ:
        raise _damaged(
            folder, f"it is of format {body.get('format')}, this version reads {READ[0]} to {READ[-1]}"
        )
    return str(outer["model"]), body


def _damaged(folder: Path, why: str) -> Damaged:
    return Damaged(f"The model in {folder} cannot be used: {why}.", "Train again: `deck-triage train`.")


def _read(path: Path, most: int) -> bytes:
    if not path.is_file():
        raise _damaged(path.parent, f"{path.name} is missing")
    if path.stat().st_size > most:
        raise _damaged(path.parent, f"{path.name} is larger than {most // 1_000_000} MB")
    return path.read_bytes()


def _pack(arrays: Mapping[str, NDArray[Any]]) -> bytes:
    """A zip of npy files with fixed times, so that equal arrays give equal bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as pack:
        for name in sorted(arrays):
            inner = io.BytesIO()
            np.lib.format.write_array(inner, np.ascontiguousarray(arrays[name]), allow_pickle=False)
            pack.writestr(zipfile.ZipInfo(name + ".npy", (1980, 1, 1, 0, 0, 0)), inner.getvalue())
    return out.getvalue()


def _unpack(packed: bytes, shapes: Mapping[str, list[int]]) -> dict[str, NDArray[Any]]:
    bounded = sum(8 * int(np.prod(shape, dtype=np.int64)) for shape in shapes.values())
    if bounded > 2 * MOST_ARRAY_BYTES:
        raise ValueError("arrays too large")
    found: dict[str, NDArray[Any]] = {}
    with np.load(io.BytesIO(packed), allow_pickle=False) as data:
        for name, shape in shapes.items():
            array = data[name]
            if list(array.shape) != shape or array.dtype not in (np.float32, np.float64):
                raise ValueError(f"array {name} is not what was stated")
            if not np.isfinite(array).all():
                raise ValueError(f"array {name} is not finite")
            found[name] = array
    return found


def _arrays(model: TagModel) -> dict[str, NDArray[Any]]:
    parts = _parts(model)
    found: dict[str, NDArray[Any]] = {}
    for name, part in parts.items():
        if part is not None:
            found[f"{name}_weights"] = np.asarray(part.weights, np.float32)
            found[f"{name}_bias"] = np.asarray(part.bias, np.float64)
    for name, group in zip(_BLENDS, (model.fold_models, model.leave_one_out), strict=True):
        if group is not None:
            found[name] = np.asarray(group.blend, np.float64)
    return found


def _parts(model: TagModel) -> dict[str, Linear | None]:
    folds, left_out = model.fold_models, model.leave_one_out
    return dict(
        zip(
            _PARTS,
            (
                model.whole,
                model.cells,
                folds.whole if folds else None,
                folds.cells if folds else None,
                left_out.whole if left_out else None,
                left_out.cells if left_out else None,
            ),
            strict=True,
        )
    )


def _plain(model: TagModel) -> dict[str, Any]:
    kept = ("tag", "recipe_sha", "bands", "present", "absent", "unclear", "decks", "positive_decks", "boxed")
    return {
        **{name: getattr(model, name) for name in kept},
        "blend": list(model.blend),
        "calibration": asdict(model.calibration),
        "promise": asdict(model.promise),
        "figures": asdict(model.figures),
        "folds": dict(model.folds),
        "held_out": {sha: list(row) for sha, row in model.held_out.items()},
        "facts": dict(model.facts),
    }


def _model(entry: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]]) -> TagModel | TooFew:
    if "too_few" in entry:
        return TooFew(**entry["too_few"])
    plain = dict(entry["model"])
    number = entry["number"]

    def part(name: str) -> Linear | None:
        key = f"{number}/{name}_weights"
        return Linear(arrays[key], arrays[f"{number}/{name}_bias"]) if key in arrays else None

    def group(name: str) -> LeaveOneOutModels | None:
        whole = part(f"{name}_whole")
        if whole is None:
            return None
        return LeaveOneOutModels(whole, part(f"{name}_cells"), arrays[f"{number}/{name}_blend"])

    whole = part("whole")
    if whole is None:
        raise ValueError("no weights")
    calibration = plain.pop("calibration")
    return TagModel(
        **{
            **plain,
            "blend": tuple(plain["blend"]),
            "calibration": Calibration(calibration["kind"], tuple(calibration["numbers"])),
            "promise": Promise(**plain["promise"]),
            "figures": Figures(**plain["figures"]),
            "held_out": {sha: tuple(row) for sha, row in plain["held_out"].items()},
        },
        whole=whole,
        cells=part("cells"),
        leave_one_out=group("guard"),
        fold_models=group("fold"),
    )
