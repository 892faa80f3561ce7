"""The checkpoint reader takes tensors and nothing else."""

from __future__ import annotations

import io
import pickle

import numpy as np
import pytest

from tools.build_backbone.checkpoint import (
    MAGIC_NUMBER,
    PROTOCOL_VERSION,
    CheckpointError,
    read_checkpoint,
)

SYSTEM = {"protocol_version": 1001, "little_endian": True, "type_sizes": {}}


def state_pickle(
    key: str, count: int, offset: int, shape: tuple[int, ...], strides: tuple[int, ...]
) -> bytes:
    """Write {'w': _rebuild_tensor_v2(storage, ...)} opcode by opcode, as the old format does."""
    body = io.BytesIO()
    body.write(b"\x80\x02")
    body.write(b"}X\x01\x00\x00\x00w")
    body.write(b"ctorch._utils\n_rebuild_tensor_v2\n((")
    body.write(b"X\x07\x00\x00\x00storagectorch\nFloatStorage\n")
    for text in (key, "cpu"):
        body.write(b"X" + len(text).to_bytes(4, "little") + text.encode())
    body.write(b"J" + count.to_bytes(4, "little", signed=True) + b"NtQ")
    body.write(b"J" + offset.to_bytes(4, "little", signed=True))
    for numbers in (shape, strides):
        body.write(b"(" + b"".join(b"J" + n.to_bytes(4, "little", signed=True) for n in numbers) + b"t")
    body.write(b"\x89ccollections\nOrderedDict\n)RtRs.")
    return body.getvalue()


def stream(state: bytes, values: np.ndarray, keys: list[str], magic: int = MAGIC_NUMBER) -> bytes:
    parts = [pickle.dumps(magic, 2), pickle.dumps(PROTOCOL_VERSION, 2), pickle.dumps(SYSTEM, 2), state]
    parts += [pickle.dumps(keys, 2), len(values).to_bytes(8, "little"), values.astype("<f4").tobytes()]
    return b"".join(parts)


VALUES = np.arange(12, dtype=np.float32)


def test_a_tensor_with_offset_and_strides() -> None:
    found = read_checkpoint(stream(state_pickle("7", 12, 2, (2, 3), (1, 2)), VALUES, ["7"]))
    np.testing.assert_array_equal(found["w"], [[2, 4, 6], [3, 5, 7]])


@pytest.mark.parametrize(
    ("offset", "shape", "strides"), [(8, (2, 3), (3, 1)), (-1, (2,), (1,)), (0, (2,), (-1,))]
)
def test_a_tensor_outside_its_storage(offset: int, shape: tuple[int, ...], strides: tuple[int, ...]) -> None:
    with pytest.raises(CheckpointError, match="outside"):
        read_checkpoint(stream(state_pickle("7", 12, offset, shape, strides), VALUES, ["7"]))


@pytest.mark.parametrize(
    "attack",
    [
        b"\x80\x02cos\nsystem\n(X\x04\x00\x00\x00truetR.",
        b"\x80\x02cbuiltins\neval\n(X\x03\x00\x00\x001+1tR.",
        b"\x80\x02ctorch\nload\n(X\x01\x00\x00\x00xtR.",
    ],
)
def test_code_in_the_stream_is_refused(attack: bytes) -> None:
    with pytest.raises(CheckpointError, match="not a tensor"):
        read_checkpoint(stream(attack, VALUES, ["7"]))


def test_other_streams_are_refused() -> None:
    state = state_pickle("7", 12, 0, (12,), (1,))
    with pytest.raises(CheckpointError, match="magic"):
        read_checkpoint(stream(state, VALUES, ["7"], magic=5))
    with pytest.raises(CheckpointError, match="ends early"):
        read_checkpoint(stream(state, VALUES, ["7"])[:-1])
    with pytest.raises(CheckpointError, match="storages"):
        read_checkpoint(stream(state, VALUES, ["8"]))
    with pytest.raises(CheckpointError):
        read_checkpoint(b"PK\x03\x04 a zip is not the old kind")
    with pytest.raises(CheckpointError):
        read_checkpoint(b"")
