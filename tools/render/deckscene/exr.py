"""Reads an uncompressed scan-line OpenEXR file with any channels (OpenEXR file layout, openexr.com)."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np

from .errors import RenderError

_MULTI_PART = 0x1000
_TYPES = {0: np.dtype("<u4"), 1: np.dtype("<f2"), 2: np.dtype("<f4")}


def read_exr(path: Path) -> dict[str, np.ndarray]:
    """Every channel by name as float32 (height, width).

    Raises:
        RenderError: the file is not an uncompressed scan-line EXR.
    """
    data = path.read_bytes()
    if data[:4] != b"\x76\x2f\x31\x01":
        raise RenderError(f"{path.name} is not an EXR file.")
    several = bool(struct.unpack_from("<I", data, 4)[0] & _MULTI_PART)
    headers, at = [], 8
    while data[at] != 0:
        header, at = _header(data, at)
        if header["compression"] != b"\x00":
            raise RenderError(f"{path.name} is compressed; only plain scan lines are read.")
        headers.append(header)
        if not several:
            break
    at += several
    out: dict[str, np.ndarray] = {}
    for header in headers:
        found, at = _scan_lines(data, header, at, 12 if several else 8)
        out |= found
    return out


def _scan_lines(
    data: bytes, header: dict[str, bytes], at: int, lead: int
) -> tuple[dict[str, np.ndarray], int]:
    """Channels of one part whose offset table stands at `at`, and where the next table stands."""
    x0, y0, x1, y1 = struct.unpack("<4i", header["dataWindow"])
    width, height = x1 - x0 + 1, y1 - y0 + 1
    channels = _channels(header["channels"])
    offsets = np.frombuffer(data, "<u8", height, at)
    row_bytes = sum(kind.itemsize for _, kind in channels) * width
    rows = np.stack([np.frombuffer(data, np.uint8, row_bytes, int(o) + lead) for o in offsets])
    out, start = {}, 0
    for name, kind in channels:
        end = start + kind.itemsize * width
        out[name] = np.ascontiguousarray(rows[:, start:end]).view(kind).astype(np.float32)
        start = end
    return out, at + 8 * height


def _header(data: bytes, at: int) -> tuple[dict[str, bytes], int]:
    header = {}
    while data[at] != 0:
        end = data.index(b"\0", at)
        name, at = data[at:end].decode(), end + 1
        at = data.index(b"\0", at) + 1
        size = struct.unpack_from("<i", data, at)[0]
        header[name] = data[at + 4 : at + 4 + size]
        at += 4 + size
    return header, at + 1


def _channels(text: bytes) -> list[tuple[str, np.dtype]]:
    out, at = [], 0
    while text[at] != 0:
        end = text.index(b"\0", at)
        out.append((text[at:end].decode(), _TYPES[struct.unpack_from("<i", text, end + 1)[0]]))
        at = end + 17
    return out


def layer(channels: dict[str, np.ndarray], name: str) -> np.ndarray:
    """The R, G, B of a layer as (height, width, 3), or its single channel as (height, width).

    Raises:
        RenderError: there is no such layer.
    """
    found = {key.rsplit(".", 1)[1]: value for key, value in channels.items() if f".{name}." in f".{key}"}
    if all(c in found for c in "RGB"):
        return np.stack([found[c] for c in "RGB"], -1)
    if found:
        return next(iter(found.values()))
    raise RenderError(f"The picture has no layer '{name}'.", "It has: " + ", ".join(sorted(channels)) + ".")
