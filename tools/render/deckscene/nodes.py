"""A short way to write Cycles shader graphs (needs bpy)."""

from __future__ import annotations

from typing import Any

import bpy

Socket = Any
Colour = tuple[float, float, float]


class Graph:
    """One material's node tree; every method adds a node and gives back its output."""

    def __init__(self, name: str) -> None:
        """Start an empty material."""
        self.material = bpy.data.materials.new(name)
        self.material.use_nodes = True
        self.tree = self.material.node_tree
        self.tree.nodes.clear()

    def node(self, kind: str, **settings: Any) -> Any:
        """Add a node with settings."""
        node = self.tree.nodes.new(kind)
        for key, value in settings.items():
            setattr(node, key, value)
        return node

    def put(self, socket: Socket, value: Any) -> None:
        """Link an output to a socket, or set its value."""
        if hasattr(value, "is_output"):
            self.tree.links.new(value, socket)
        elif isinstance(value, tuple) and socket.type == "RGBA" and len(value) == 3:
            socket.default_value = (*value, 1)
        else:
            socket.default_value = value

    def math(self, operation: str, a: Any, b: Any = 0.0, clamp: bool = False) -> Socket:
        """A scalar operation."""
        node = self.node("ShaderNodeMath", operation=operation, use_clamp=clamp)
        self.put(node.inputs[0], a)
        self.put(node.inputs[1], b)
        return node.outputs[0]

    def vector(self, operation: str, a: Any, b: Any = (0, 0, 0), scale: Any = None) -> Socket:
        """A vector operation; LENGTH gives a scalar."""
        node = self.node("ShaderNodeVectorMath", operation=operation)
        self.put(node.inputs[0], a)
        if operation == "LENGTH":
            return node.outputs["Value"]
        self.put(node.inputs[1], b)
        if scale is not None:
            self.put(node.inputs["Scale"], scale)
        return node.outputs[0]

    def attribute(self, name: str, kind: str = "Vector") -> Socket:
        """A mesh attribute."""
        return self.node("ShaderNodeAttribute", attribute_name=name).outputs[kind]

    def position(self) -> Socket:
        """World position of the shaded point."""
        return self.node("ShaderNodeNewGeometry").outputs["Position"]

    def noise(
        self, at: Any, scale: float = 1, detail: float = 2, rough: float = 0.55, colour: bool = False
    ) -> Socket:
        """Fractal noise, 0 to 1 about 0.5; every octave costs, `colour` costs three times."""
        node = self.node("ShaderNodeTexNoise")
        for name, value in (("Vector", at), ("Scale", scale), ("Detail", detail), ("Roughness", rough)):
            self.put(node.inputs[name], value)
        return node.outputs[1 if colour else 0]

    def cells(self, at: Any, scale: float = 1, output: str = "Distance") -> Socket:
        """Voronoi cells."""
        node = self.node("ShaderNodeTexVoronoi")
        self.put(node.inputs["Vector"], at)
        self.put(node.inputs["Scale"], scale)
        return node.outputs[output]

    def step(self, value: Any, low: Any, high: Any, to_low: float = 0.0, to_high: float = 1.0) -> Socket:
        """A smooth step from `low` to `high` (which may be the smaller)."""
        node = self.node("ShaderNodeMapRange", interpolation_type="SMOOTHSTEP")
        for i, x in enumerate((value, low, high, to_low, to_high)):
            self.put(node.inputs[i], x)
        return node.outputs[0]

    def mix(self, share: Any, a: Any, b: Any) -> Socket:
        """Blend two colours."""
        node = self.node("ShaderNodeMix", data_type="RGBA")
        self.put(node.inputs[0], share)
        self.put(node.inputs[6], a)
        self.put(node.inputs[7], b)
        return node.outputs[2]

    def ramp(self, value: Any, stops: list[tuple[float, Colour]]) -> Socket:
        """A colour ramp."""
        node = self.node("ShaderNodeValToRGB")
        elements = node.color_ramp.elements
        while len(elements) < len(stops):
            elements.new(0.5)
        for element, (place, colour) in zip(elements, stops, strict=True):
            element.position, element.color = place, (*colour, 1)
        self.put(node.inputs[0], value)
        return node.outputs[0]

    def tinted(self, colour: Any, saturation: Any = 1.0, value: Any = 1.0) -> Socket:
        """A colour with its saturation and value scaled."""
        node = self.node("ShaderNodeHueSaturation")
        self.put(node.inputs["Saturation"], saturation)
        self.put(node.inputs["Value"], value)
        self.put(node.inputs["Color"], colour)
        return node.outputs[0]

    def bump(self, height: Any, strength: float = 0.5, distance: float = 0.001) -> Socket:
        """A bumped normal; the height graph is computed three times, keep it small."""
        node = self.node("ShaderNodeBump")
        self.put(node.inputs["Strength"], strength)
        self.put(node.inputs["Distance"], distance)
        self.put(node.inputs["Height"], height)
        return node.outputs[0]

    def surface(
        self,
        colour: Any,
        rough: Any = 0.6,
        metal: Any = 0.0,
        normal: Any = None,
        specular: float | None = None,
        see_through: float | None = None,
        alpha: Any = None,
        bounce: Colour | None = None,
    ) -> bpy.types.Material:
        """Finish: a principled surface; `bounce` is the flat colour that indirect light sees instead."""
        shader = self.node("ShaderNodeBsdfPrincipled")
        wanted = {
            "Base Color": colour,
            "Roughness": rough,
            "Metallic": metal,
            "Normal": normal,
            "Specular IOR Level": specular,
            "Alpha": alpha,
        }
        for name, value in wanted.items():
            if value is not None:
                self.put(shader.inputs[name], value)
        out = shader.outputs[0]
        if see_through:
            thin = self.node("ShaderNodeBsdfTranslucent")
            self.put(thin.inputs[0], colour)
            out = self._blend(see_through, out, thin.outputs[0])
        if bounce is not None:
            flat = self.node("ShaderNodeBsdfDiffuse")
            self.put(flat.inputs[0], bounce)
            out = self._blend(self.node("ShaderNodeLightPath").outputs["Is Camera Ray"], flat.outputs[0], out)
        self.put(self.node("ShaderNodeOutputMaterial").inputs[0], out)
        return self.material

    def _blend(self, share: Any, a: Socket, b: Socket) -> Socket:
        node = self.node("ShaderNodeMixShader")
        self.put(node.inputs[0], share)
        self.put(node.inputs[1], a)
        self.put(node.inputs[2], b)
        return node.outputs[0]
