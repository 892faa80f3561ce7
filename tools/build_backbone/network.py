"""EfficientNet-Lite0 as a fully convolutional ONNX graph, its batch norms folded into the convolutions.

Architecture: Tan and Le, EfficientNet (arXiv 1905.11946), Lite0 variant: no squeeze-and-excitation, ReLU6,
stem and head not scaled. Stage table as in the package ``efficientnet-lite-pytorch`` 0.1.0.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper

Array = np.ndarray[Any, Any]

BATCH_NORM_EPSILON = 1e-3
OPSET = 13
IR_VERSION = 8
# repeats, kernel, stride, expansion, output channels
STAGES = (
    (1, 3, 1, 1, 16),
    (2, 3, 2, 6, 24),
    (2, 5, 2, 6, 40),
    (3, 3, 2, 6, 80),
    (3, 5, 1, 6, 112),
    (4, 5, 2, 6, 192),
    (1, 3, 1, 6, 320),
)
EARLIER_STAGE = 5  # counted from 0: the expansion of the sixth stage, stride 16, 672 channels


def same_upper(kernel: int, stride: int) -> list[int]:
    """Return the padding (top, left, bottom, right) that SAME_UPPER means for sizes divisible by the stride.

    Written out, since OpenCV 5 pads SAME_UPPER the other way round where the two sides differ.
    """
    total = kernel - stride
    return [total // 2, total // 2, total - total // 2, total - total // 2]


@dataclass
class _Graph:
    weights: dict[str, Array]
    nodes: list[Any] = field(default_factory=list)
    initializers: list[Any] = field(default_factory=list)

    def constant(self, name: str, values: Array) -> str:
        self.initializers.append(numpy_helper.from_array(np.ascontiguousarray(values), name))
        return name

    def add(self, kind: str, inputs: list[str], output: str, **attributes: Any) -> str:
        self.nodes.append(helper.make_node(kind, inputs, [output], name=output, **attributes))
        return output

    def conv(self, x: str, conv: str, norm: str, output: str, stride: int = 1) -> str:
        """Convolution with its batch norm folded in: w' = w g / sqrt(v + e), b' = b - m g / sqrt(v + e)."""
        weight = self.weights[f"{conv}.weight"].astype(np.float64)
        gain = self.weights[f"{norm}.weight"] / np.sqrt(
            self.weights[f"{norm}.running_var"].astype(np.float64) + BATCH_NORM_EPSILON
        )
        bias = self.weights[f"{norm}.bias"] - self.weights[f"{norm}.running_mean"] * gain
        kernel = weight.shape[2]
        group = weight.shape[0] if weight.shape[1] == 1 else 1
        return self.add(
            "Conv",
            [
                x,
                self.constant(f"{output}.weight", (weight * gain[:, None, None, None]).astype(np.float32)),
                self.constant(f"{output}.bias", bias.astype(np.float32)),
            ],
            output,
            pads=same_upper(kernel, stride),
            kernel_shape=[kernel, kernel],
            strides=[stride, stride],
            dilations=[1, 1],
            group=group,
        )

    def relu6(self, x: str, output: str) -> str:
        return self.add("Clip", [x, "zero", "six"], output)


def _block(graph: _Graph, x: str, index: int, stage: int, first: bool) -> str:
    _repeats, _kernel, stride, expansion, _channels = STAGES[stage]
    source, name = f"_blocks.{index}", f"block{index}"
    y = x
    if expansion != 1:
        y = graph.conv(y, f"{source}._expand_conv", f"{source}._bn0", f"{name}.expand")
        y = graph.relu6(y, "earlier_map" if first and stage == EARLIER_STAGE else f"{name}.expand.relu6")
    y = graph.conv(
        y, f"{source}._depthwise_conv", f"{source}._bn1", f"{name}.depthwise", stride if first else 1
    )
    y = graph.relu6(y, f"{name}.depthwise.relu6")
    y = graph.conv(y, f"{source}._project_conv", f"{source}._bn2", f"{name}.project")
    return y if first else graph.add("Add", [y, x], f"{name}.sum")


def _head(graph: _Graph, last_map: str) -> None:
    graph.add("GlobalAveragePool", [last_map], "pooled")
    weight = graph.constant("classes.weight", graph.weights["_fc.weight"][:, :, None, None])
    bias = graph.constant("classes.bias", graph.weights["_fc.bias"])
    graph.add("Conv", ["pooled", weight, bias], "scores", kernel_shape=[1, 1])
    graph.add("Flatten", ["scores"], "classes", axis=1)


def _batch_norm_count(weights: dict[str, Array]) -> int:
    return sum(name.endswith("running_var") for name in weights)


def build_network(weights: dict[str, Array]) -> onnx.ModelProto:
    """Return the network; input ``picture`` (N, 3, H, W) float32, RGB, (value - 127) / 128.

    Outputs: ``last_map`` (N, 1280, H/32, W/32), ``earlier_map`` (N, 672, H/16, W/16), ``classes`` (N, 1000).

    Raises
    ------
    ValueError
        when a weight of the checkpoint was not used, that is, when it is another network.
    """
    graph = _Graph(weights)
    graph.constant("zero", np.array(0, np.float32))
    graph.constant("six", np.array(6, np.float32))
    x = graph.relu6(graph.conv("picture", "_conv_stem", "_bn0", "stem", 2), "stem.relu6")
    index = 0
    for stage, (repeats, *_rest) in enumerate(STAGES):
        for repeat in range(repeats):
            x = _block(graph, x, index, stage, repeat == 0)
            index += 1
    _head(graph, graph.relu6(graph.conv(x, "_conv_head", "_bn1", "head"), "last_map"))
    convolutions = sum(node.op_type == "Conv" for node in graph.nodes) - 1  # the scores have no batch norm
    if convolutions != _batch_norm_count(weights):
        raise ValueError(
            f"{convolutions} convolutions built, the checkpoint has {_batch_norm_count(weights)}"
        )
    return _model(graph)


def _model(graph: _Graph) -> onnx.ModelProto:
    picture = helper.make_tensor_value_info("picture", TensorProto.FLOAT, ["n", 3, "height", "width"])
    outputs = [
        helper.make_tensor_value_info("last_map", TensorProto.FLOAT, ["n", 1280, "height32", "width32"]),
        helper.make_tensor_value_info("earlier_map", TensorProto.FLOAT, ["n", 672, "height16", "width16"]),
        helper.make_tensor_value_info("classes", TensorProto.FLOAT, ["n", 1000]),
    ]
    built = helper.make_graph(graph.nodes, "efficientnet-lite0", [picture], outputs, graph.initializers)
    model = helper.make_model(
        built, opset_imports=[helper.make_opsetid("", OPSET)], producer_name="deck-triage build_backbone"
    )
    model.ir_version = IR_VERSION
    onnx.checker.check_model(model, full_check=True)
    return model
