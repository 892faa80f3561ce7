"""Reads a PyTorch checkpoint of the old kind (a pickle stream, not a zip) without torch: tensors only.

The stream holds, one after the other: a magic number, the protocol version, facts about the machine that
wrote it, the state dict (its tensors point to storages by key), the list of storage keys in order, and for
each storage its length as int64 and its raw little-endian numbers. Nothing else is allowed: any other name
in the stream is refused, so a tampered file cannot run code.
"""

from __future__ import annotations

import io
import pickle  # noqa: S403 - the unpickler below allows four names and builds arrays only
from collections import OrderedDict
from dataclasses import dataclass
from typing import Any

import numpy as np

MAGIC_NUMBER = 0x1950A86A20F9469CFC6C
PROTOCOL_VERSION = 1001
STORAGE_TYPES = {"FloatStorage": np.dtype("<f4"), "LongStorage": np.dtype("<i8")}


class CheckpointError(ValueError):
    """The file is not a checkpoint of the expected kind."""


@dataclass
class _Storage:
    dtype: np.dtype[Any]
    count: int
    values: np.ndarray[Any, Any] | None = None


@dataclass(frozen=True)
class _TensorView:
    storage: _Storage
    offset: int
    shape: tuple[int, ...]
    strides: tuple[int, ...]

    def array(self) -> np.ndarray[Any, Any]:
        if self.storage.values is None:
            raise CheckpointError("a tensor points to a storage that the file does not hold")
        itemsize = self.storage.dtype.itemsize
        last = self.offset + sum((n - 1) * s for n, s in zip(self.shape, self.strides, strict=True))
        if min((self.offset, *self.shape, *self.strides), default=0) < 0 or last >= self.storage.count:
            raise CheckpointError("a tensor reaches outside its storage")
        view = np.lib.stride_tricks.as_strided(
            self.storage.values[self.offset :],
            self.shape,
            [s * itemsize for s in self.strides],
            writeable=False,
        )
        return np.ascontiguousarray(view)


def _rebuild_tensor(
    storage: _Storage, offset: int, shape: tuple[int, ...], strides: tuple[int, ...], *_ignored: object
) -> _TensorView:
    return _TensorView(storage, offset, tuple(shape), tuple(strides))


class _TensorsOnly(pickle.Unpickler):
    def __init__(self, stream: io.BytesIO, storages: dict[str, _Storage]) -> None:
        super().__init__(stream)
        self._storages = storages

    def find_class(self, module: str, name: str) -> Any:
        if (module, name) == ("collections", "OrderedDict"):
            return OrderedDict
        if (module, name) == ("torch._utils", "_rebuild_tensor_v2"):
            return _rebuild_tensor
        if module == "torch" and name in STORAGE_TYPES:
            return name
        raise CheckpointError(f"the checkpoint asks for {module}.{name}, which is not a tensor")

    def persistent_load(self, pid: Any) -> _Storage:
        kind, type_name, key, _location, count, *_view = pid
        if kind != "storage" or type_name not in STORAGE_TYPES:
            raise CheckpointError(f"unknown reference {kind!r} in the checkpoint")
        return self._storages.setdefault(str(key), _Storage(STORAGE_TYPES[type_name], int(count)))


def _fill(storages: dict[str, _Storage], keys: list[str], stream: io.BytesIO) -> None:
    if sorted(keys) != sorted(storages):
        raise CheckpointError("the checkpoint's storages are not the ones that its tensors need")
    for key in keys:
        storage = storages[key]
        count = int.from_bytes(stream.read(8), "little")
        data = stream.read(count * storage.dtype.itemsize)
        if count != storage.count or len(data) != count * storage.dtype.itemsize:
            raise CheckpointError("the checkpoint ends early")
        storage.values = np.frombuffer(data, storage.dtype)


def read_checkpoint(data: bytes) -> dict[str, np.ndarray[Any, Any]]:
    """Return the checkpoint's tensors by name.

    Raises
    ------
    CheckpointError
        when the stream is damaged, of another kind, or asks for anything but tensors.
    """
    stream = io.BytesIO(data)
    storages: dict[str, _Storage] = {}
    try:
        if _TensorsOnly(stream, storages).load() != MAGIC_NUMBER:
            raise CheckpointError("no checkpoint of the old kind: wrong magic number")
        if _TensorsOnly(stream, storages).load() != PROTOCOL_VERSION:
            raise CheckpointError("no checkpoint of the old kind: wrong protocol")
        system = _TensorsOnly(stream, storages).load()
        if not system.get("little_endian", False):
            raise CheckpointError("the checkpoint was written on a big-endian machine")
        state = _TensorsOnly(stream, storages).load()
        keys = _TensorsOnly(stream, storages).load()
    except (pickle.UnpicklingError, EOFError, AttributeError, TypeError, IndexError, KeyError) as error:
        raise CheckpointError(f"not a readable checkpoint: {error}") from error
    _fill(storages, [str(key) for key in keys], stream)
    return {name: view.array() for name, view in state.items() if isinstance(view, _TensorView)}
