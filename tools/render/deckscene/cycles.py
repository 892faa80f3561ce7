"""Puts a scene into Cycles and takes pictures of it (needs bpy)."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from .camera import Camera
from .exr import layer, read_exr
from .materials import make
from .meshes import Part, Scene
from .params import DeckParams
from .views import Light


class Stage:
    """One deck loaded into the renderer; many pictures may be taken of it."""

    def __init__(self, deck: DeckParams, scene: Scene, threads: int) -> None:
        """Load every part; parts of one component and material become one object."""
        bpy.ops.wm.read_factory_settings(use_empty=True)
        self.deck, self.names = deck, {0: "sky"}
        self._materials: dict[str, Any] = {}
        self._by_kind: dict[str, list[Any]] = {}
        groups: dict[tuple[str, str], list[Part]] = {}
        for part in scene.parts:
            groups.setdefault((part.component, part.material), []).append(part)
        index = {
            component: i + 1
            for i, component in enumerate(
                sorted({c for c, _ in groups} | {p.component for p, _ in scene.scattered})
            )
        }
        self.names |= {i: component for component, i in index.items()}
        for (component, _), parts in groups.items():
            self._place(self._mesh(parts), component, parts[0].kind, index[component])
        for part, places in scene.scattered:
            mesh = self._mesh([part])
            for matrix in places:
                self._place(mesh, part.component, part.kind, index[part.component], matrix)
        _settings(threads)

    def _material(self, name: str) -> Any:
        if name not in self._materials:
            self._materials[name] = make(name, self.deck)
        return self._materials[name]

    def _mesh(self, parts: list[Part]) -> Any:
        mesh = bpy.data.meshes.new(parts[0].component)
        offsets = np.cumsum([0] + [len(p.vertices) for p in parts])
        groups = [g + o for p, o in zip(parts, offsets, strict=False) for g in p.faces]
        counts = np.concatenate([np.full(len(g), g.shape[1]) for g in groups]).astype(np.int32)
        corners = np.concatenate([g.ravel() for g in groups]).astype(np.int32)
        mesh.vertices.add(int(offsets[-1]))
        mesh.vertices.foreach_set(
            "co", np.concatenate([p.vertices for p in parts]).astype(np.float32).ravel()
        )
        mesh.loops.add(len(corners))
        mesh.loops.foreach_set("vertex_index", corners)
        mesh.polygons.add(len(counts))
        mesh.polygons.foreach_set(
            "loop_start", np.concatenate([[0], np.cumsum(counts)[:-1]]).astype(np.int32)
        )
        mesh.update(calc_edges=True)
        grain = mesh.attributes.new("grain", "FLOAT_VECTOR", "POINT")
        grain.data.foreach_set("vector", np.concatenate([p.local for p in parts]).astype(np.float32).ravel())
        tone = mesh.attributes.new("tone", "FLOAT", "POINT")
        tone.data.foreach_set(
            "value", np.concatenate([np.full(len(p.vertices), p.tone, np.float32) for p in parts])
        )
        mesh.materials.append(self._material(parts[0].material))
        return mesh

    def _place(
        self, mesh: Any, component: str, kind: str, index: int, matrix: np.ndarray | None = None
    ) -> None:
        body = bpy.data.objects.new(component, mesh)
        body.pass_index = index
        if matrix is not None:
            body.matrix_world = Matrix(matrix.tolist())
        bpy.context.scene.collection.objects.link(body)
        self._by_kind.setdefault(kind, []).append(body)

    def show(self, hidden: frozenset[str]) -> None:
        """Leave out the kinds that a view cannot see (they cost time)."""
        for kind, bodies in self._by_kind.items():
            for body in bodies:
                body.hide_render = kind in hidden

    def shoot(
        self, camera: Camera, light: Light, folder: Path, samples: int
    ) -> tuple[np.ndarray, np.ndarray]:
        """Radiance (h, w, 3) and component index (h, w) of the ideal (undistorted) picture."""
        _sky(light)
        body = _camera(camera)
        lamp = _flash(body, light.flash) if light.flash else None
        scene, path = bpy.context.scene, folder / "frame.exr"
        scene.render.resolution_x, scene.render.resolution_y = camera.width_px, camera.height_px
        scene.render.filepath, scene.cycles.samples = str(path), samples
        bpy.ops.render.render(write_still=True)
        channels = read_exr(path)
        path.unlink()
        bpy.data.objects.remove(body)
        if lamp is not None:
            bpy.data.objects.remove(lamp)
        smooth, noisy = layer(channels, "Combined"), layer(channels, "Noisy Image")
        return 0.94 * smooth + 0.06 * np.minimum(noisy, 2 * smooth + 1e-4), np.rint(
            layer(channels, "Object Index")
        ).astype(np.int32)


def _settings(threads: int) -> None:
    scene = bpy.context.scene
    scene.render.engine = "CYCLES"
    c = scene.cycles
    c.device, c.use_adaptive_sampling = "CPU", False
    c.use_denoising, c.denoiser = True, "OPENIMAGEDENOISE"
    c.denoising_input_passes, c.denoising_prefilter = "RGB_ALBEDO_NORMAL", "FAST"
    c.denoising_quality = "BALANCED"
    c.max_bounces, c.diffuse_bounces, c.glossy_bounces, c.transmission_bounces, c.transparent_max_bounces = (
        4,
        3,
        2,
        2,
        6,
    )
    c.sample_clamp_indirect, c.caustics_reflective, c.caustics_refractive = 0.3, False, False
    scene.render.resolution_percentage, scene.render.use_persistent_data = 100, True
    scene.render.threads_mode, scene.render.threads = "FIXED", threads
    layers = scene.view_layers[0]
    layers.use_pass_object_index = True
    layers.cycles.denoising_store_passes = True
    image = scene.render.image_settings
    image.media_type = "MULTI_LAYER_IMAGE"
    image.file_format, image.color_depth, image.exr_codec = "OPEN_EXR_MULTILAYER", "32", "NONE"
    scene.view_settings.view_transform = "Raw"


def _sky(light: Light) -> None:
    world = bpy.data.worlds.get("sky") or bpy.data.worlds.new("sky")
    bpy.context.scene.world = world
    world.use_nodes = True
    tree = world.node_tree
    tree.nodes.clear()
    sky = tree.nodes.new("ShaderNodeTexSky")
    sky.sky_type = "MULTIPLE_SCATTERING"
    sky.sun_elevation, sky.sun_rotation = (
        math.radians(light.sun_elevation_deg),
        math.radians(light.sun_azimuth_deg),
    )
    sky.sun_disc, sky.sun_size = light.overcast < 0.5, math.radians(0.6)
    mix, back, out = (
        tree.nodes.new("ShaderNodeMix"),
        tree.nodes.new("ShaderNodeBackground"),
        tree.nodes.new("ShaderNodeOutputWorld"),
    )
    mix.data_type = "RGBA"
    mix.inputs[0].default_value = light.overcast
    mix.inputs[7].default_value = (6.2, 6.35, 6.6, 1)
    tree.links.new(sky.outputs[0], mix.inputs[6])
    tree.links.new(mix.outputs[2], back.inputs[0])
    back.inputs[1].default_value = light.strength
    tree.links.new(back.outputs[0], out.inputs[0])


def _camera(camera: Camera) -> Any:
    lens = bpy.data.cameras.new("phone")
    body = bpy.data.objects.new("phone", lens)
    bpy.context.scene.collection.objects.link(body)
    bpy.context.scene.camera = body
    body.matrix_world = Matrix(camera.matrix().tolist())
    lens.sensor_fit, lens.sensor_width, lens.lens, lens.clip_start = (
        "HORIZONTAL",
        camera.sensor_mm,
        camera.focal_mm,
        0.01,
    )
    lens.dof.use_dof, lens.dof.focus_distance, lens.dof.aperture_fstop = True, camera.focus_m, camera.fstop
    return body


def _flash(body: Any, power: float) -> Any:
    light = bpy.data.lights.new("flash", "AREA")
    light.energy, light.size, light.color = power, 0.008, (1, 0.97, 0.92)
    lamp = bpy.data.objects.new("flash", light)
    bpy.context.scene.collection.objects.link(lamp)
    lamp.matrix_world = body.matrix_world @ Matrix.Translation((0.012, 0.03, 0))
    return lamp
