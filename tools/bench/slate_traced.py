"""Path-traced photos of a card on a ledger, with the truth, for `tools/bench/run slate rendered FOLDER`.

    tools/bench/run slate_traced FOLDER [--count 40] [--seed 0]     writes the jobs (project's Python)
    RENDER_PYTHON tools/bench/slate_traced.py FOLDER --render       renders them (a Python with bpy)

Light falls through the gaps of a deck's boards or from an open sky, the paper is bent to an exact cylinder,
has some gloss and throws its shadow on the wood; joists stand out of the ledger. The camera is a pinhole.
"""

from __future__ import annotations

import argparse
import json
import math
from pathlib import Path
from typing import Any

import numpy as np

SIZE = (1600, 1200)
SAMPLES = 16


def write_jobs(folder: Path, count: int, seed: int) -> None:
    """Draw views as the projected bench does, and write textures, jobs.json and truth.json."""
    import cv2

    from tests.simulated import slate_views as sv
    from triage.slate.card import Card

    folder.mkdir(parents=True, exist_ok=True)
    sv.SENSOR = SIZE
    wood = sv.wood_texture(np.random.default_rng(seed))
    cv2.imwrite(str(folder / "wood.png"), _code(wood))
    card = Card("3fa9c1d2", "D-17", "2026-05-04")
    cv2.imwrite(str(folder / "card.png"), _code(sv.card_texture(card.layout, card.check, card.text)))
    jobs, truth = [], []
    for number in range(count):
        rng = np.random.default_rng(seed * 1000 + number)
        view = sv.draw_view(rng, "letter", card.text)
        camera = view.camera
        camera.k1 = camera.k2 = 0.0
        camera.center = (np.array(SIZE) - 1) / 2
        name = f"view-{number:02d}.jpg"
        jobs.append(
            {
                "photo": name,
                "focal_px": camera.focal_px,
                "turn": camera.turn.tolist(),
                "place_mm": camera.place_mm.tolist(),
                "bend": view.curvature_per_mm,
                "axis": view.bend_axis_rad,
                "stand_off_mm": sv.stand_off_mm(view),
                "scale": view.print_scale,
                "size_mm": [card.layout.width_mm, card.layout.height_mm],
                "boards": bool(rng.random() < 0.5),
                "joists": bool(rng.random() < 0.5),
                "gloss": float(rng.uniform(0.2, 0.6)),
                "sun": [float(one) for one in rng.uniform([-0.8, 0.3, 0.2], [0.8, 1.2, 1.0])],
                "sun_strength": float(rng.uniform(1.0, 4.0)),
            }
        )
        for start, end in sv.draw_lengths(rng, view, 4):
            pixels = camera.project(np.array([[*start, 0.0], [*end, 0.0]]))
            pixels = pixels + rng.normal(0, SIZE[0] / 4000, (2, 2))
            points = ((pixels + 0.5) / np.array(SIZE)).tolist()
            inches = float(np.linalg.norm(end - start)) / 25.4
            row = {"photo": name, "focal_35mm": 26, "from": points[0], "to": points[1], "inches": inches}
            truth.append(row)
    (folder / "jobs.json").write_text(json.dumps(jobs, indent=1))
    (folder / "truth.json").write_text(json.dumps(truth, indent=1))


def _code(light: np.ndarray) -> np.ndarray:
    """Linear light to sRGB bytes."""
    curve = np.where(light < 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 0.0) ** (1 / 2.4) - 0.055)
    return np.clip(curve * 255 + 0.5, 0, 255).astype(np.uint8)


def render_jobs(folder: Path) -> None:
    """Render every job that has no picture yet (needs bpy)."""
    for job in json.loads((folder / "jobs.json").read_text()):
        if not (folder / job["photo"]).exists():
            _render(folder, job)


def _render(folder: Path, job: dict[str, Any]) -> None:
    import bpy

    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    _sheet("wood", *_flat(2.6, 2.6, 0.0), _paint(folder / "wood.png", 0.75))
    _sheet("card", *_paper(job), _paint(folder / "card.png", job["gloss"]))
    if job["boards"]:
        for number in range(8):
            _box((0.0, -0.42, -0.08 - 0.146 * number), (3.0, 0.025, 0.14))
    if job["joists"]:
        for x in (-1.22, -0.81, -0.41, 0.41, 0.81, 1.22):
            _box((x, -0.30, -0.15), (0.038, 0.18, 0.3))
    _light(scene, job)
    _camera(scene, job)
    scene.render.engine = "CYCLES"
    scene.cycles.samples, scene.cycles.use_denoising, scene.cycles.max_bounces = SAMPLES, False, 4
    scene.render.resolution_x, scene.render.resolution_y = SIZE
    scene.view_settings.view_transform = "Standard"
    scene.render.image_settings.file_format = "JPEG"
    scene.render.image_settings.quality = 92
    scene.render.filepath = str(folder / job["photo"])
    bpy.ops.render.render(write_still=True)


def _flat(half_x: float, half_y: float, z: float) -> tuple[list[Any], list[Any], list[Any]]:
    corners = [(-half_x, -half_y, z), (half_x, -half_y, z), (half_x, half_y, z), (-half_x, half_y, z)]
    return corners, [(0, 1, 2, 3)], [(0, 1), (1, 1), (1, 0), (0, 0)]


def _paper(job: dict[str, Any], steps: int = 48) -> tuple[list[Any], list[Any], list[Any]]:
    """The paper as a grid bent to a cylinder by arc length, with its picture's coordinates, in meters."""
    width, height = job["size_mm"]
    c, s = math.cos(job["axis"]), math.sin(job["axis"])
    points, spots = [], []
    for v in np.linspace(-0.5, 0.5, steps + 1):
        for u in np.linspace(-0.5, 0.5, steps + 1):
            x, y = u * width * job["scale"], v * height * job["scale"]
            along, across = c * x + s * y, -s * x + c * y
            depth = 0.0
            if job["bend"]:
                radius = 1 / job["bend"]
                depth = -radius * (1 - math.cos(along / radius))
                along = radius * math.sin(along / radius)
            place = (c * along - s * across, s * along + c * across, depth + job["stand_off_mm"])
            points.append(tuple(one / 1000 for one in place))
            spots.append((u + 0.5, 0.5 - v))
    row = steps + 1
    faces = [
        (i * row + j, i * row + j + 1, (i + 1) * row + j + 1, (i + 1) * row + j)
        for i in range(steps)
        for j in range(steps)
    ]
    return points, faces, spots


def _sheet(name: str, points: list[Any], faces: list[Any], spots: list[Any], paint: Any) -> None:
    import bpy

    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(points, [], faces)
    layer = mesh.uv_layers.new()
    for loop in mesh.loops:
        layer.data[loop.index].uv = spots[loop.vertex_index]
    mesh.materials.append(paint)
    bpy.context.collection.objects.link(bpy.data.objects.new(name, mesh))


def _paint(picture: Path | None, rough: float) -> Any:
    import bpy

    paint = bpy.data.materials.new("paint")
    paint.use_nodes = True
    surface = paint.node_tree.nodes["Principled BSDF"]
    surface.inputs["Roughness"].default_value = rough
    if picture is None:
        surface.inputs["Base Color"].default_value = (0.22, 0.17, 0.12, 1)
    else:
        image = paint.node_tree.nodes.new("ShaderNodeTexImage")
        image.image = bpy.data.images.load(str(picture.resolve()))
        paint.node_tree.links.new(image.outputs["Color"], surface.inputs["Base Color"])
    return paint


def _box(middle: tuple[float, float, float], size: tuple[float, float, float]) -> None:
    import bpy

    bpy.ops.mesh.primitive_cube_add(size=1, location=middle)
    bpy.context.object.scale = size
    bpy.context.object.data.materials.append(_paint(None, 0.8))


def _light(scene: Any, job: dict[str, Any]) -> None:
    import bpy
    from mathutils import Vector

    world = bpy.data.worlds.new("sky")
    scene.world = world
    world.use_nodes = True
    world.node_tree.nodes["Background"].inputs["Color"].default_value = (0.75, 0.85, 1.0, 1)
    world.node_tree.nodes["Background"].inputs["Strength"].default_value = 0.9
    sun = bpy.data.objects.new("sun", bpy.data.lights.new("sun", "SUN"))
    sun.data.energy, sun.data.angle = job["sun_strength"], 0.009
    sun.rotation_euler = Vector(job["sun"]).to_track_quat("-Z", "Y").to_euler()
    scene.collection.objects.link(sun)


def _camera(scene: Any, job: dict[str, Any]) -> None:
    """The photo's camera: its x, y, z are right, down, ahead; the renderer's are right, up, back."""
    import bpy
    from mathutils import Matrix

    turn, place = np.array(job["turn"]), np.array(job["place_mm"]) / 1000
    camera = bpy.data.objects.new("camera", bpy.data.cameras.new("camera"))
    camera.data.sensor_fit, camera.data.sensor_width = "HORIZONTAL", 36.0
    camera.data.lens = job["focal_px"] / SIZE[0] * 36.0
    camera.data.clip_start = 0.01
    rows = np.eye(4)
    rows[:3, :3] = np.stack([turn[0], -turn[1], -turn[2]], axis=1)
    rows[:3, 3] = place
    camera.matrix_world = Matrix(rows.tolist())
    scene.collection.objects.link(camera)
    scene.camera = camera


def main() -> None:
    """Write the jobs, or render them."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--render", action="store_true")
    given = parser.parse_args()
    if given.render:
        render_jobs(given.folder)
    else:
        write_jobs(given.folder, given.count, given.seed)


if __name__ == "__main__":
    main()
