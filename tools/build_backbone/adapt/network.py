"""The frozen network's graph in torch, folded as it is shipped, and its weights back into the same file."""

from __future__ import annotations

from typing import Any

import numpy as np
import onnx
import torch
from onnx import numpy_helper
from torch import nn
from torch.nn import functional

HEAD_NODES = ("pooled", "scores", "classes")


class FoldedNetwork(nn.Module):
    """Runs the nodes of the network's file: convolutions, clipping at 0 and 6, sums. Any H, W of 32 n.

    Parameters
    ----------
    model : the network as ``tools.build_backbone`` builds it; ImageNet's scores stay as they are.
    """

    def __init__(self, model: onnx.ModelProto) -> None:
        super().__init__()
        values = {entry.name: numpy_helper.to_array(entry) for entry in model.graph.initializer}
        self.steps: list[tuple[str, str, tuple[str, ...], dict[str, Any]]] = []
        self.weights = nn.ParameterDict()
        for node in model.graph.node:
            if node.name in HEAD_NODES:
                continue
            facts = {entry.name: onnx.helper.get_attribute_value(entry) for entry in node.attribute}
            self.steps.append((node.op_type, node.output[0], tuple(node.input), facts))
            for name in node.input[1:]:
                if node.op_type == "Conv":
                    self.weights[_key(name)] = nn.Parameter(torch.from_numpy(values[name].copy()))

    def forward(self, picture: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Return the last map (N, 1280, H/32, W/32) and the earlier one (N, 672, H/16, W/16)."""
        found = {"picture": picture}
        for kind, output, inputs, facts in self.steps:
            x = found[inputs[0]]
            if kind == "Conv":
                top, left, bottom, right = facts["pads"]
                if (top, left) == (bottom, right):
                    padding = (top, left)
                else:
                    x, padding = functional.pad(x, (left, right, top, bottom)), (0, 0)
                weight, bias = self.weights[_key(inputs[1])], self.weights[_key(inputs[2])]
                found[output] = functional.conv2d(
                    x, weight, bias, tuple(facts["strides"]), padding, groups=facts["group"]
                )
            elif kind == "Clip":
                found[output] = x.clamp(0, 6)
            elif kind == "Add":
                found[output] = x + found[inputs[1]]
            else:
                raise ValueError(f"the network holds a {kind}, which is not known here")
        return found["last_map"], found["earlier_map"]


def _key(name: str) -> str:
    return name.replace(".", "/")


def exported(model: onnx.ModelProto, state: dict[str, torch.Tensor]) -> bytes:
    """Return the network's file with the weights replaced: the same nodes, outputs and size."""
    copy = onnx.ModelProto()
    copy.CopyFrom(model)
    changed = 0
    for entry in copy.graph.initializer:
        weight = state.get("weights." + _key(entry.name))
        if weight is not None:
            values = weight.detach().float().cpu().numpy()
            entry.CopyFrom(numpy_helper.from_array(np.ascontiguousarray(values), entry.name))
            changed += 1
    if changed != len(state):
        raise ValueError(f"{len(state)} weights, but the file has {changed} of them")
    onnx.checker.check_model(copy, full_check=True)
    return copy.SerializeToString(deterministic=True)


def between(
    first: dict[str, torch.Tensor], second: dict[str, torch.Tensor], share: float
) -> dict[str, torch.Tensor]:
    """Return weights on the line from the first network (share 0) to the second (share 1)."""
    return {name: value + share * (second[name].to(value) - value) for name, value in first.items()}
