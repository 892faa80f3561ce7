"""The build's own steps against ONNX's definitions."""

from __future__ import annotations

from typing import Any

import numpy as np
import onnx
import onnxruntime
import pytest
from onnx import TensorProto, helper, numpy_helper

from tools.build_backbone.network import same_upper


def conv(weight: np.ndarray, **attributes: Any) -> onnxruntime.InferenceSession:
    graph = helper.make_graph(
        [helper.make_node("Conv", ["x", "w"], ["y"], **attributes)],
        "one",
        [helper.make_tensor_value_info("x", TensorProto.FLOAT, [1, 1, None, None])],
        [helper.make_tensor_value_info("y", TensorProto.FLOAT, [1, 1, None, None])],
        [numpy_helper.from_array(weight, "w")],
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 13)])
    model.ir_version = 8
    onnx.checker.check_model(model)
    return onnxruntime.InferenceSession(model.SerializeToString(), providers=["CPUExecutionProvider"])


@pytest.mark.parametrize("kernel", [3, 5])
@pytest.mark.parametrize("stride", [1, 2])
def test_written_out_padding_is_same_upper(kernel: int, stride: int) -> None:
    # ONNX Conv, attribute auto_pad: output ceil(input / stride), the extra padding at the end
    rng = np.random.default_rng(0)
    weight = rng.normal(size=(1, 1, kernel, kernel)).astype(np.float32)
    x = rng.normal(size=(1, 1, 8, 12)).astype(np.float32)
    automatic = conv(weight, auto_pad="SAME_UPPER", strides=[stride, stride]).run(None, {"x": x})[0]
    written = conv(weight, pads=same_upper(kernel, stride), strides=[stride, stride]).run(None, {"x": x})[0]
    assert automatic.shape == (1, 1, 8 // stride, 12 // stride)
    np.testing.assert_array_equal(automatic, written)
