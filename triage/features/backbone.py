"""The frozen network and its views of a photo: pixels in, feature maps out."""

from __future__ import annotations

import platform
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from triage.errors import Damaged, is_short_of_memory
from triage.features.models import read_checked

if TYPE_CHECKING:
    from numpy.typing import NDArray

STRIDE_PX = 32
_MEAN = 127.0
_SCALE = 1 / 128.0


def round_to_stride(length_px: float) -> int:
    """Return the nearest multiple of the network's stride, at least one."""
    return max(1, round(length_px / STRIDE_PX)) * STRIDE_PX


def square_view_px(side_px: int, full_width: int, full_height: int) -> int:
    """Return the side of a whole-photo view, never larger than the photo's own long side."""
    return min(side_px, round_to_stride(max(full_width, full_height)))


def cell_view_px(long_side_px: int, full_width: int, full_height: int) -> tuple[int, int]:
    """Return (width, height) of the picture that cells are read from: at most twice the native size."""
    longest = max(full_width, full_height)
    scale = min(long_side_px, 2 * longest) / longest
    return round_to_stride(full_width * scale), round_to_stride(full_height * scale)


class Backbone:
    """The network of the models folder, run by ONNX Runtime.

    Parameters
    ----------
    name : file name in the models folder; its hash is checked against its card.
    threads : threads inside one run; 1 gives the same numbers everywhere on one kind of processor.
    exact : take the slower exact way of multiplying bytes; by default where the processor needs it.

    Raises
    ------
    Damaged
        when the file is not the one its card describes, or cannot be run.
    """

    def __init__(
        self, name: str, threads: int = 1, folder: Path | None = None, exact: bool | None = None
    ) -> None:
        import onnxruntime

        data, self.sha = read_checked(name, folder)
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = threads
        options.inter_op_num_threads = 1
        options.execution_mode = onnxruntime.ExecutionMode.ORT_SEQUENTIAL
        options.log_severity_level = 3
        if exact or (exact is None and not multiplies_bytes_exactly()):
            options.add_session_config_entry("session.x64quantprecision", "1")
        try:
            self._session = onnxruntime.InferenceSession(data, options, providers=["CPUExecutionProvider"])
        except Exception as error:  # ONNX Runtime raises its own unnamed errors
            if is_short_of_memory(error):
                raise MemoryError from error
            raise Damaged(f"The network {name} cannot be run: {error}") from error

    def maps(self, rgb: NDArray[np.uint8]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Return the last map (1280, H/32, W/32) and the earlier one (672, H/16, W/16).

        ``rgb`` is (H, W, 3) uint8 with H and W multiples of 32.
        """
        import cv2

        picture = cv2.dnn.blobFromImage(rgb, _SCALE, mean=(_MEAN, _MEAN, _MEAN))
        last, earlier = self._session.run(["last_map", "earlier_map"], {"picture": picture})
        return last[0], earlier[0]


def multiplies_bytes_exactly() -> bool:
    """Say whether this processor sums products of 8-bit numbers without saturating at 16 bits.

    x86 without the VNNI instructions does not; then ONNX Runtime is set to use the slower exact method, so
    that the 8-bit network gives the same numbers everywhere. Where that is not known, the slower method is
    taken.
    """
    if platform.machine().lower() not in ("x86_64", "amd64", "i686", "x86"):
        return True
    try:
        flags = Path("/proc/cpuinfo").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return False
    return "avx512_vnni" in flags or "avx_vnni" in flags
