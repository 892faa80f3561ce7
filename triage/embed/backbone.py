"""The frozen network and its views of a photo: pixels in, feature maps out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from triage.embed.models import read_checked
from triage.errors import Damaged

if TYPE_CHECKING:
    from pathlib import Path

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

    Raises
    ------
    Damaged
        when the file is not the one its card describes, or cannot be run.
    """

    def __init__(self, name: str, threads: int = 1, folder: Path | None = None) -> None:
        import onnxruntime

        data, self.sha = read_checked(name, folder)
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = threads
        options.inter_op_num_threads = 1
        options.execution_mode = onnxruntime.ExecutionMode.ORT_SEQUENTIAL
        options.log_severity_level = 3
        try:
            self._session = onnxruntime.InferenceSession(data, options, providers=["CPUExecutionProvider"])
        except Exception as error:  # ONNX Runtime raises its own unnamed errors
            raise Damaged(f"The network {name} cannot be run: {error}") from error

    def maps(self, rgb: NDArray[np.uint8], *, earlier: bool = False) -> list[NDArray[np.float32]]:
        """Return the last map (1280, H/32, W/32) and, when asked, the earlier one (672, H/16, W/16).

        ``rgb`` is (H, W, 3) uint8 with H and W multiples of 32.
        """
        import cv2

        picture = cv2.dnn.blobFromImage(rgb, _SCALE, mean=(_MEAN, _MEAN, _MEAN))
        names = ["last_map", "earlier_map"] if earlier else ["last_map"]
        return [found[0] for found in self._session.run(names, {"picture": picture})]
