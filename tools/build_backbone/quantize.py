"""Builds models/efficientnet-lite0-adapted-int8.onnx: an adapted network with 8-bit weights and activations.

python -m tools.build_backbone.quantize --adapted FOLDER takes what `tools.build_backbone.adapt` wrote, for a
minute. Static quantization by ONNX Runtime (QDQ, weights per channel, activations by the moving average of
their range) on open pictures; the first three convolution groups, where few channels carry most of the error,
stay 32-bit. The scores for ImageNet's classes are left out.
"""

from __future__ import annotations

import argparse
import json
import logging
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import onnx
from numpy.typing import NDArray
from onnxruntime.quantization import (
    CalibrationDataReader,
    CalibrationMethod,
    QuantFormat,
    QuantType,
    quantize_static,
)

from tools.build_backbone.cards import write_adapted_card
from tools.build_backbone.pictures import pictures
from triage.features.models import read_checked
from triage.imaging import open_upright
from triage.imaging.decode import resample

MODELS = Path(__file__).resolve().parents[2] / "models"
TARGET = "efficientnet-lite0-adapted-int8.onnx"
KEPT_EXACT = ("stem", "block0.", "block1.")
PACKAGE_PICTURES = 13
EVERY_RENDER = 4


def calibration_views(renders: Path | None) -> Iterator[NDArray[np.uint8]]:
    """Yield pictures at the sizes of the recipe's views: 448, some at 224, and parts of the cells' size."""
    chosen = [data for _name, data in pictures(renders)]
    chosen = chosen[:PACKAGE_PICTURES] + chosen[PACKAGE_PICTURES::EVERY_RENDER]
    for number, data in enumerate(chosen):
        rgb = open_upright(data).rgb
        yield resample(rgb, 448, 448)
        if number % 2 == 0:
            yield resample(rgb, 224, 224)
        if number % 4 == 0:
            yield np.ascontiguousarray(resample(rgb, 1344, 1024)[256:768, 384:960])


class _Reader(CalibrationDataReader):
    def __init__(self, renders: Path | None) -> None:
        self._views = calibration_views(renders)

    def get_next(self) -> dict[str, Any] | None:
        view = next(self._views, None)
        return None if view is None else {"picture": cv2.dnn.blobFromImage(view, 1 / 128, mean=(127,) * 3)}


def without_scores(model: onnx.ModelProto) -> onnx.ModelProto:
    """Return the network without the nodes and weights that make the classes' scores."""
    graph = model.graph
    for field, dropped in (
        (graph.node, {"pooled", "scores", "classes"}),
        (graph.output, {"classes"}),
        (graph.initializer, {"classes.weight", "classes.bias"}),
    ):
        kept = [entry for entry in field if entry.name not in dropped]
        del field[:]
        field.extend(kept)
    onnx.checker.check_model(model)
    return model


def quantize(source: bytes, renders: Path | None) -> bytes:
    """Return the 8-bit network's bytes."""
    logging.getLogger().setLevel(logging.ERROR)
    model = without_scores(onnx.load_from_string(source))
    exact = [
        node.name for node in model.graph.node if node.op_type == "Conv" and node.name.startswith(KEPT_EXACT)
    ]
    with tempfile.TemporaryDirectory() as name:
        plain, small = Path(name) / "plain.onnx", Path(name) / "small.onnx"
        onnx.save(model, plain)
        quantize_static(
            plain,
            small,
            _Reader(renders),
            quant_format=QuantFormat.QDQ,
            per_channel=True,
            activation_type=QuantType.QUInt8,
            weight_type=QuantType.QInt8,
            calibrate_method=CalibrationMethod.MinMax,
            nodes_to_exclude=exact,
            extra_options={"CalibMovingAverage": True, "CalibMovingAverageConstant": 0.05},
        )
        return onnx.load(small).SerializeToString(deterministic=True)


def main() -> int:
    """Build and write, or compare."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--renders", type=Path, help="folder of the rendered photos, instead of the history's"
    )
    parser.add_argument("--adapted", type=Path, required=True, help="folder that the adaptation wrote")
    parser.add_argument("--compare", action="store_true", help="write nothing, compare with models/")
    arguments = parser.parse_args()
    told = json.loads((arguments.adapted / "adapted.json").read_text(encoding="utf-8"))
    name = f"adapted-{round(100 * told['settings']['share']):03d}.onnx"
    source, digest = read_checked(name, arguments.adapted)
    built, target = quantize(source, arguments.renders), MODELS / TARGET
    if arguments.compare:
        same = target.read_bytes() == built
        print(f"{target.name}: {'the same bytes' if same else 'DIFFERS'}")
        return 0 if same else 1
    target.write_bytes(built)
    write_adapted_card(target, told, digest)
    print(f"{target}: {len(built):,} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main())
