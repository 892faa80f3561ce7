"""What a photo shows, to the pixel, and the labels that follow from it by stated thresholds.

Pixels and boxes are those of the upright picture with its own lens distortion.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from .camera import Camera
from .layout import Layout
from .meshes import Feature, Scene
from .params import DeckParams

Box = tuple[float, float, float, float]

#: The thresholds of the labels. Shares are of the photo's area unless said; sizes in pixels at 1024 x 768.
THRESHOLDS: dict[str, float] = {
    "place_share_present": 0.40,  # share of a missing hanger's place that is in plain sight
    "place_share_unclear": 0.15,
    "place_side_px": 40.0,  # longer side of that place
    "rust_severity_present": 0.40,  # below this and from `rust_severity_unclear` on: bloom
    "rust_severity_unclear": 0.20,
    "rust_area_px": 350.0,
    "rust_area_unclear_px": 80.0,
    "nail_head_px": 4.0,  # diameter of a nail head that can be told from a speck
    "nails_needed": 2.0,
    "debris_severity_present": 0.35,
    "debris_severity_unclear": 0.15,
    "debris_area": 0.010,
    "debris_area_unclear": 0.002,
    "seat_share_present": 0.30,  # share of the post's sides between the plies that is in plain sight
    "seat_side_px": 30.0,
    "bolt_head_px": 14.0,
    "flashing_run_px": 250.0,
    "flashing_near_m": 1.5,
    "flashing_far_m": 4.0,
}
#: Share of the photo from which an element is shown well, and poorly.
ELEMENT_AREA: dict[str, tuple[tuple[str, ...], float, float]] = {
    "ledger": (("ledger",), 0.06, 0.01),
    "joist": (("joist-",), 0.06, 0.01),
    "post": (("post-",), 0.04, 0.008),
    "footing": (("footing-",), 0.008, 0.0015),
    "guard": (("guard",), 0.05, 0.01),
    "guard-post": (("guard-post",), 0.01, 0.002),
    "stair": (("tread", "stringer"), 0.04, 0.006),
    "stringer": (("stringer",), 0.012, 0.003),
    "decking": (("decking",), 0.08, 0.01),
}
CORE_TAGS = (
    "missing-hanger",
    "rusted-connector",
    "nail-only-ledger",
    "debris-at-flashing",
    "side-bolted-beam",
)
ELEMENTS = (
    "ledger",
    "flashing",
    "hanger",
    "connector",
    "joist",
    "band",
    "beam",
    "post",
    "footing",
    "brace",
    "hold-down",
    "guard",
    "guard-post",
    "stair",
    "stringer",
    "decking",
    "whole-deck",
)


@dataclass(frozen=True)
class Sighting:
    """A feature as one photo shows it: box of what is in sight (x0, y0, x1, y1), head diameter, in pixels."""

    feature: Feature
    visible_share: float
    area_px: int
    box_px: tuple[float, float, float, float] | None
    head_px: float
    near_m: float


@dataclass(frozen=True)
class Verdict:
    """The label of one tag: value, boxes as fractions of the upright photo, place and count where known."""

    value: str
    boxes: tuple[Box, ...] = ()
    place: str = ""
    count: int | None = None


@dataclass(frozen=True)
class PhotoTruth:
    """Everything known about one photo."""

    sightings: tuple[Sighting, ...]
    areas_px: dict[str, int]
    component_boxes_px: dict[str, tuple[int, int, int, int]]
    labels: dict[str, Verdict] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        """Plain values for `truth.jsonl`: components of 60 pixels or more, features in the frame."""
        boxes = self.component_boxes_px
        return {
            "components": [
                {"component": c, "area_px": n, "box_px": list(boxes[c])}
                for c, n in sorted(self.areas_px.items())
                if n >= 60
            ],
            "features": [
                {
                    "kind": s.feature.kind,
                    "name": s.feature.name,
                    "severity": round(s.feature.severity, 2),
                    "visible_share": round(s.visible_share, 3),
                    "area_px": s.area_px,
                    "box_px": None if s.box_px is None else [round(v, 1) for v in s.box_px],
                }
                for s in self.sightings
                if s.visible_share > 0
            ],
            "labels": {tag: v.value for tag, v in self.labels.items()},
        }


def widened(box_px: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    """At least two thirds as wide as high: beside one flange's place the joist's end belongs to it."""
    x0, y0, x1, y1 = box_px
    more = max(0.0, (y1 - y0) * 2 / 3 - (x1 - x0)) / 2
    return x0 - more, y0, x1 + more, y1


def look(feature: Feature, camera: Camera, ids: np.ndarray, index: dict[str, int]) -> Sighting:
    """How much of a feature is in plain sight: points that face the camera, in the frame, not hidden."""
    pixels, depth = camera.project(feature.points)
    towards = camera.eye - feature.points
    facing = (towards * feature.normals).sum(1) > 0.03 * np.linalg.norm(towards, axis=1)
    x, y = np.rint(pixels[:, 0]), np.rint(pixels[:, 1])
    inside = (depth > 0) & (x >= 0) & (y >= 0) & (x < camera.width_px) & (y < camera.height_px)
    allowed = [index[c] for c in feature.stands_on if c in index]
    seen = np.zeros(len(x), bool)
    for i in np.flatnonzero(facing & inside):
        patch = ids[max(0, int(y[i]) - 1) : int(y[i]) + 2, max(0, int(x[i]) - 1) : int(x[i]) + 2]
        seen[i] = bool(np.isin(patch, allowed).any())
    share = float(seen.sum() / max(1, facing.sum()))
    if not seen.any():
        return Sighting(feature, 0.0, 0, None, 0.0, float("inf"))
    focal_px = camera.width_px / 2 / np.tan(np.radians(camera.hfov_deg) / 2)
    near = float(depth[seen].min())
    pad = feature.radius_m * focal_px / near
    box = (
        float(x[seen].min() - pad),
        float(y[seen].min() - pad),
        float(x[seen].max() + pad),
        float(y[seen].max() + pad),
    )
    own = index.get(feature.name, -1)
    return Sighting(feature, share, int((ids == own).sum()), box, 2 * pad, near)


def photo_truth(
    scene: Scene,
    deck: DeckParams,
    plan: Layout,
    camera: Camera,
    ids: np.ndarray,
    names: dict[int, str],
    shake_px: float = 0.0,
) -> PhotoTruth:
    """Truth of one photo from its (distorted) id image; small things are lost in a blur of `shake_px`."""
    index = {name: i for i, name in names.items()}
    areas, boxes = {}, {}
    for i in np.unique(ids):
        if i > 0 and i in names:
            where = np.argwhere(ids == i)
            areas[names[i]] = len(where)
            (y0, x0), (y1, x1) = where.min(0), where.max(0)
            boxes[names[i]] = (int(x0), int(y0), int(x1) + 1, int(y1) + 1)
    sightings = tuple(look(f, camera, ids, index) for f in scene.features)
    bare = PhotoTruth(sightings, areas, boxes)
    return PhotoTruth(sightings, areas, boxes, Judge(bare, deck, plan, camera, shake_px).labels())


class Judge:
    """Turns what is in sight into labels by the stated thresholds."""

    def __init__(
        self, truth: PhotoTruth, deck: DeckParams, plan: Layout, camera: Camera, shake_px: float
    ) -> None:
        """Sizes are scaled to a picture of 1024 x 768; blur shrinks what can be told."""
        self.truth, self.deck, self.plan, self.camera = truth, deck, plan, camera
        self.scale = 1024 / max(camera.width_px, camera.height_px) / (1 + shake_px / 4)
        self.pixels = camera.width_px * camera.height_px

    def labels(self) -> dict[str, Verdict]:
        """Every core tag, and every element."""
        rulings = (self._missing(), self._rust(), self._nails(), self._debris(), self._side_bolted())
        out = dict(zip(CORE_TAGS, rulings, strict=True))
        for element in ELEMENTS:
            out[f"shows-{element}"] = Verdict(self._shows(element))
        return out

    def _of(self, *kinds: str) -> list[Sighting]:
        return [s for s in self.truth.sightings if s.feature.kind in kinds and s.visible_share > 0]

    def _box(self, px: tuple[float, ...]) -> Box:
        w, h = self.camera.width_px, self.camera.height_px
        x0, y0, x1, y1 = (
            np.clip(px[0], 0, w),
            np.clip(px[1], 0, h),
            np.clip(px[2], 0, w),
            np.clip(px[3], 0, h),
        )
        return (
            round(float(x0 / w), 4),
            round(float(y0 / h), 4),
            round(float((x1 - x0) / w), 4),
            round(float((y1 - y0) / h), 4),
        )

    def _side(self, box: tuple[float, ...]) -> float:
        return max(box[2] - box[0], box[3] - box[1]) * self.scale

    def _place(self, names: list[str]) -> str:
        """Places as a person facing the house counts joists: joist 1 is the leftmost, at the high x end."""
        total = len(self.plan.joist_x)
        joists = sorted(total - int(n.split("-")[1]) for n in names)
        return "; ".join(f"joist {j} of {total} from the left, facing the house, house side" for j in joists)

    def _ruling(
        self, sure: list[Sighting], doubtful: list[Sighting], boxes: list[Box] | None = None, place: str = ""
    ) -> Verdict:
        if sure:
            return Verdict(
                "present", tuple(boxes or [self._box(s.box_px) for s in sure if s.box_px]), place, len(sure)
            )
        return Verdict("unclear" if doubtful else "absent")

    def _missing(self) -> Verdict:
        sure, doubtful = [], []
        for s in self._of("missing-hanger"):
            big = s.box_px is not None and self._side(s.box_px) >= THRESHOLDS["place_side_px"]
            if s.visible_share >= THRESHOLDS["place_share_present"] and big:
                sure.append(s)
            elif s.visible_share >= THRESHOLDS["place_share_unclear"]:
                doubtful.append(s)
        boxes = [self._box(widened(s.box_px)) for s in sure if s.box_px]
        return self._ruling(sure, doubtful, boxes, self._place([s.feature.name for s in sure]))

    def _rust(self) -> Verdict:
        sure, doubtful = [], []
        for s in self._of("hanger", "ledger-bolt", "post-bolt"):
            area = s.area_px * self.scale**2
            if (
                s.feature.severity < THRESHOLDS["rust_severity_unclear"]
                or area < THRESHOLDS["rust_area_unclear_px"]
            ):
                continue
            plain = (
                s.feature.severity >= THRESHOLDS["rust_severity_present"]
                and area >= THRESHOLDS["rust_area_px"]
            )
            (sure if plain else doubtful).append(s)
        boxes = [self._box(self.truth.component_boxes_px[s.feature.name]) for s in sure]
        hangers = [s.feature.name for s in sure if s.feature.kind == "hanger"]
        return self._ruling(sure, doubtful, boxes, self._place(hangers))

    def _nails(self) -> Verdict:
        nails = self._of("ledger-nail")
        plain = [s for s in nails if s.head_px * self.scale >= THRESHOLDS["nail_head_px"]]
        bolts = [
            s
            for s in self._of("ledger-bolt")
            if s.area_px * self.scale**2 >= THRESHOLDS["rust_area_unclear_px"]
        ]
        if bolts or len(plain) < THRESHOLDS["nails_needed"]:
            return self._ruling([], [] if bolts else nails)
        bays: dict[str, list[Sighting]] = {}
        for s in plain:
            bays.setdefault(s.feature.name.split(".")[0], []).append(s)
        boxes = []
        for group in bays.values():
            corners = np.array([s.box_px for s in group])
            boxes.append(self._box((*corners[:, :2].min(0), *corners[:, 2:].max(0))))
        return self._ruling(plain, [], boxes)

    def _debris(self) -> Verdict:
        share = self.truth.areas_px.get("debris", 0) / self.pixels
        found = self._of("debris")
        if (
            not found
            or share < THRESHOLDS["debris_area_unclear"]
            or self.deck.debris < THRESHOLDS["debris_severity_unclear"]
        ):
            return Verdict("absent")
        if share >= THRESHOLDS["debris_area"] and self.deck.debris >= THRESHOLDS["debris_severity_present"]:
            return Verdict("present", (self._box(self.truth.component_boxes_px["debris"]),))
        return Verdict("unclear")

    def _side_bolted(self) -> Verdict:
        if self.deck.beam_bearing != "side-bolted":
            return Verdict("absent")
        sure = [
            s
            for s in self._of("beam-seat")
            if s.box_px is not None
            and s.visible_share >= THRESHOLDS["seat_share_present"]
            and self._side(s.box_px) >= THRESHOLDS["seat_side_px"]
        ]
        bolts = [s for s in self._of("post-bolt") if s.head_px * self.scale >= THRESHOLDS["nail_head_px"]]
        boxes = []
        for s in sure:
            x0, y0, x1, y1 = s.box_px or (0, 0, 0, 0)
            reach = 0.8 * (y1 - y0)
            boxes.append(self._box((x0 - reach, y0, x1 + reach, y1)))
        return self._ruling(sure, [*self._of("beam-seat"), *bolts], boxes)

    def _shows(self, element: str) -> str:
        special = {
            "hanger": self._shows_hanger,
            "connector": self._shows_connector,
            "flashing": self._shows_flashing,
            "beam": self._shows_beam,
            "whole-deck": self._shows_whole,
        }
        if element in special:
            return special[element]()
        if element not in ELEMENT_AREA:
            return (
                "absent"  # the house band is behind the ledger; these decks have no braces and no hold-downs
            )
        starts, well, poorly = ELEMENT_AREA[element]
        area = sum(
            n
            for c, n in self.truth.areas_px.items()
            if any(c == s or (s.endswith("-") and c.startswith(s)) for s in starts)
            and not c.startswith("post-bolt")
        )
        return self._grade(area / self.pixels, well, poorly)

    def _grade(self, value: float, well: float, poorly: float) -> str:
        return "present" if value >= well else ("unclear" if value >= poorly else "absent")

    def _shows_hanger(self) -> str:
        best = "absent"
        for s in self._of("hanger", "missing-hanger"):
            x0, y0, x1, y1 = s.box_px or (0, 0, 0, 0)
            area = (x1 - x0) * (y1 - y0) / self.pixels
            if s.visible_share >= 0.5 and area >= 0.012 and self.scale > 0.4:
                return "present"
            if s.visible_share >= 0.25 and area >= 0.002:
                best = "unclear"
        return best

    def _shows_connector(self) -> str:
        heads = [s.head_px * self.scale for s in self._of("ledger-bolt", "post-bolt")]
        best = max(heads, default=0.0)
        bolts = self._grade(best, THRESHOLDS["bolt_head_px"], THRESHOLDS["bolt_head_px"] / 2)
        order = ("absent", "unclear", "present")
        return max(bolts, self._shows_hanger(), key=order.index)

    def _shows_flashing(self) -> str:
        for s in self._of("flashing-line"):
            run = (s.box_px[2] - s.box_px[0]) * self.scale if s.box_px else 0.0
            if run >= THRESHOLDS["flashing_run_px"] and s.near_m <= THRESHOLDS["flashing_near_m"]:
                return "present"
            if run >= THRESHOLDS["flashing_run_px"] / 2 and s.near_m <= THRESHOLDS["flashing_far_m"]:
                return "unclear"
        return "absent"

    def _shows_beam(self) -> str:
        """Well where one can see how it sits on a post, poorly where only some of it is in sight."""
        area = self.truth.areas_px.get("beam", 0) / self.pixels
        seats = [
            s
            for s in self._of("beam-seat")
            if s.box_px
            and s.visible_share >= THRESHOLDS["seat_share_present"]
            and self._side(s.box_px) >= 2 * THRESHOLDS["seat_side_px"]
        ]
        return "present" if seats and area >= 0.01 else self._grade(area, 2.0, 0.012)

    def _shows_whole(self) -> str:
        p = self.plan
        corners = np.array(
            [[x, y, z] for x in (0, p.width) for y in (0.0, p.depth) for z in (0.0, p.deck_top)]
        )
        pixels, depth = self.camera.project(corners)
        w, h = self.camera.width_px, self.camera.height_px
        inside = (
            (depth > 0)
            & (pixels[:, 0] > -0.03 * w)
            & (pixels[:, 0] < 1.03 * w)
            & (pixels[:, 1] > 0)
            & (pixels[:, 1] < h)
        )
        return "present" if inside.all() else "absent"
