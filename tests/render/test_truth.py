"""Labels follow from what is in plain sight, by the stated thresholds."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from deckscene.camera import Camera
from deckscene.layout import Layout, layout
from deckscene.meshes import Feature, Scene
from deckscene.params import DeckParams, check
from deckscene.truth import CORE_TAGS, ELEMENTS, look, photo_truth

BAD = check(
    DeckParams(
        "deck-99", 3, missing_hangers=(4,), rusted_hangers=((6, 0.8),), ledger_fastener="nail", debris=0.8
    )
)


NEAR_KINDS = ("ledger", "joist", "hanger", "nail", "ledger-nail", "ledger-bolt", "toe-nails")


@lru_cache
def scene_of(deck: DeckParams) -> tuple[Scene, Layout]:
    from deckscene.build import build

    return build(deck, with_yard=False)


def near(plan: Layout, joist: int) -> Camera:
    x, z = float(plan.joist_x[joist]), plan.joist_bottom
    return Camera((x + 0.22, plan.ledger_face + 0.36, z - 0.09), (x, plan.ledger_face, z + 0.075), 1024, 768)


NEAR_M = 0.75


def patches(corners: np.ndarray, camera: Camera) -> np.ndarray:
    """Cut quads into pieces of 4 cm near the camera, so that sorting by depth is right."""
    if corners.shape[1] != 4:
        return corners
    middle = corners.mean(1)
    reach = np.linalg.norm(corners - middle[:, None], axis=2).max(1)  # no piece lies nearer than by that
    out = [np.empty((0, 4, 3))]
    for a, b, c, d in corners[np.linalg.norm(middle - camera.eye, axis=1) - reach < NEAR_M]:
        n, m = (max(1, int(np.ceil(np.linalg.norm(e) / 0.04))) for e in (b - a, d - a))
        s, t = np.linspace(0, 1, n + 1), np.linspace(0, 1, m + 1)
        grid = (
            a * np.outer(1 - s, 1 - t)[..., None]
            + b * np.outer(s, 1 - t)[..., None]
            + c * np.outer(s, t)[..., None]
            + d * np.outer(1 - s, t)[..., None]
        )
        pieces = np.stack([grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]], 2).reshape(-1, 4, 3)
        out.append(pieces[np.linalg.norm(pieces.mean(1) - camera.eye, axis=1) < NEAR_M])
    return np.concatenate(out)


def paint(scene: Scene, camera: Camera) -> tuple[np.ndarray, dict[int, str]]:
    """A tiny painter's renderer: patches of 4 cm, far to near, filled with their component's number."""
    import cv2

    names = {0: "sky"} | {i + 1: c for i, c in enumerate(sorted({p.component for p in scene.parts}))}
    index = {c: i for i, c in names.items()}
    flat = replace(camera, distortion=0.0)
    faces = []
    for part in (p for p in scene.parts if p.kind in NEAR_KINDS):
        for group in part.faces:
            corners = part.vertices[group]
            middle = corners.mean(1)
            corners = corners[np.linalg.norm(middle - camera.eye, axis=1) < 4.0]
            cut = patches(corners, camera)
            seen, depths = flat.project(cut.reshape(-1, 3))
            for pixels, depth in zip(
                seen.reshape(*cut.shape[:2], 2), depths.reshape(cut.shape[:2]), strict=True
            ):
                if (depth > 0.02).all() and np.abs(pixels).max() < 20000:
                    closer = 0.0 if part.kind in ("ledger", "joist") else 0.03  # thin things lie on top
                    faces.append((depth.mean() - closer, pixels, index[part.component]))
    ids = np.zeros((camera.height_px, camera.width_px), np.int32)
    for _, corners, number in sorted(faces, key=lambda f: -f[0]):
        cv2.fillPoly(ids, [np.rint(corners).astype(np.int32)], int(number))
    return camera.bend_ids(ids), names


def labels(deck: DeckParams, joist: int, shake_px: float = 0.0) -> dict[str, str]:
    scene, plan = scene_of(deck)
    camera = near(plan, joist)
    ids, names = paint(scene, camera)
    truth = photo_truth(scene, deck, plan, camera, ids, names, shake_px)
    assert set(truth.labels) == set(CORE_TAGS) | {f"shows-{e}" for e in ELEMENTS}
    for verdict in truth.labels.values():
        for x, y, w, h in verdict.boxes:
            assert 0 <= x < x + w <= 1.0001
            assert 0 <= y < y + h <= 1.0001
    return {tag: v.value for tag, v in truth.labels.items()}


def test_a_missing_hanger_in_plain_sight_is_present_with_its_place() -> None:
    scene, plan = scene_of(BAD)
    camera = near(plan, 4)
    verdict = photo_truth(scene, BAD, plan, camera, *paint(scene, camera)).labels["missing-hanger"]
    assert verdict.value == "present"
    # Facing the house, the left is the high x end: joist 4 of 10 counted from the right end's 0 is the sixth.
    assert verdict.place == "joist 6 of 10 from the left, facing the house, house side"
    (x, y, w, h) = verdict.boxes[0]
    middle = camera.project(np.array([[plan.joist_x[4], plan.ledger_face, plan.joist_bottom + 0.07]]))[0][
        0
    ] / [1024, 768]
    assert x < middle[0] < x + w
    assert y < middle[1] < y + h


def test_its_good_twin_is_absent() -> None:
    good = BAD.changed(missing_hangers=())
    assert labels(good, 4)["missing-hanger"] == "absent"
    assert labels(good, 4)["shows-hanger"] == "present"


def test_rust_is_labelled_where_it_is_and_by_its_severity() -> None:
    assert labels(BAD, 6)["rusted-connector"] == "present"
    assert labels(BAD.changed(rusted_hangers=((6, 0.3),)), 6)["rusted-connector"] == "unclear"
    assert labels(BAD.changed(rusted_hangers=((6, 0.1),)), 6)["rusted-connector"] == "absent"
    assert labels(BAD, 4)["rusted-connector"] == "absent"


def test_nails_without_bolts_are_a_nailed_ledger_and_bolts_are_not() -> None:
    assert labels(BAD, 3)["nail-only-ledger"] == "present"
    assert labels(BAD.changed(ledger_fastener="bolt"), 3)["nail-only-ledger"] == "absent"


def test_a_blurred_photo_of_nails_is_unclear() -> None:
    assert labels(BAD, 3, shake_px=30.0)["nail-only-ledger"] == "unclear"


def test_nothing_is_in_sight_behind_something_else() -> None:
    scene, plan = scene_of(BAD)
    camera = near(plan, 4)
    ids, names = paint(scene, camera)
    board = max(names) + 1
    covered = photo_truth(scene, BAD, plan, camera, np.full_like(ids, board), names | {board: "board"})
    assert covered.labels["missing-hanger"].value == "absent"
    assert covered.labels["shows-hanger"].value == "absent"


def test_visible_share_counts_only_what_faces_the_camera() -> None:
    camera = Camera((0.0, 1.0, 0.0), (0.0, 0.0, 0.0), 200, 150)
    points = np.array([[0.0, 0, 0], [0.1, 0, 0], [0.0, 0, 0.05], [0.1, 0, 0.05]])
    normals = np.array([[0.0, 1, 0], [0, 1, 0], [0, -1, 0], [0, -1, 0]])
    feature = Feature("hanger", "h", 0.0, points, normals, ("h",))
    ids = np.ones((150, 200), np.int32)
    assert look(feature, camera, ids, {"h": 1}).visible_share == pytest.approx(1.0)
    ids[:, :100] = 2
    assert look(feature, camera, ids, {"h": 1}).visible_share == pytest.approx(0.5)


def test_a_side_bolted_beam_is_told_from_its_end_and_not_from_its_front() -> None:
    deck = check(DeckParams("deck-99", 3, beam_bearing="side-bolted"))
    scene, plan = scene_of(deck)
    x = float(plan.post_x[0])
    end = Camera(
        (x - 0.95, plan.beam_y - 0.4, plan.beam_top - 0.3), (x, plan.beam_y, plan.beam_top - 0.17), 1024, 768
    )
    names = {
        1: "beam",
        2: "post-0",
        **{i + 3: f.name for i, f in enumerate(scene.features) if f.kind == "post-bolt"},
    }
    post, beam = np.full((768, 1024), 2, np.int32), np.full((768, 1024), 1, np.int32)
    assert photo_truth(scene, deck, plan, end, post, names).labels["side-bolted-beam"].value == "present"
    assert photo_truth(scene, deck, plan, end, beam, names).labels["side-bolted-beam"].value != "present"
    assert layout(deck).beam_y == plan.beam_y
