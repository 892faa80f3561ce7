"""Which hangers, posts and stretch of ledger a photo shows: places and counts for its `shows-` labels.

Works on the record of a photo, so that it can be worked out again without rendering.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from .layout import Layout

#: A hanger (or its place) counts as shown from this visible share and this height in pixels at 1024 x 768.
HANGER_SHARE, HANGER_PX = 0.45, 60.0
#: A post counts from this share of the photo's area.
POST_AREA = 0.02
FACING = "from the left, facing the house"


def add_looks(record: dict[str, Any], plan: Layout) -> dict[str, Any]:
    """Fill in place and count of `shows-hanger`, `shows-ledger`, `shows-post`, and judge `shows-brace`."""
    verdicts = record["verdicts"]
    scale = 1024 / max(record["camera"]["width_px"], record["camera"]["height_px"])
    _hangers(record, verdicts, len(plan.joist_x), scale)
    ledger = verdicts["shows-ledger"]
    if ledger["value"] != "absent":
        nearest = int(np.argmin(np.abs(plan.joist_x - record["camera"]["target_m"][0])))
        ledger["place"] = f"joist {len(plan.joist_x) - nearest} of {len(plan.joist_x)} {FACING}"
    posts = _posts(record, verdicts, len(plan.post_x))
    verdicts["shows-brace"]["value"] = _brace(record, posts)
    record["labels"]["shows-brace"] = verdicts["shows-brace"]["value"]
    return record


def _span(what: str, numbers: list[int], total: int) -> str:
    first, last = min(numbers), max(numbers)
    if first == last:
        return f"{what} {first} of {total} {FACING}"
    return f"{what}s {first} to {last} of {total} {FACING}"


def _hangers(record: dict[str, Any], verdicts: dict[str, Any], total: int, scale: float) -> None:
    shown = verdicts["shows-hanger"]
    if shown["value"] != "present":
        return
    seen = []
    for feature in record["features"]:
        box = feature["box_px"]
        if feature["kind"] not in ("hanger", "missing-hanger") or box is None:
            continue
        if feature["visible_share"] >= HANGER_SHARE and (box[3] - box[1]) * scale >= HANGER_PX:
            seen.append(total - int(feature["name"].split("-")[1]))
    if seen:
        shown["count"], shown["place"] = len(seen), _span("joist", seen, total) + ", house side"


def _posts(record: dict[str, Any], verdicts: dict[str, Any], total: int) -> list[int]:
    pixels = record["camera"]["width_px"] * record["camera"]["height_px"]
    seen = []
    for item in record["components"]:
        words = item["component"].split("-")
        if words[0] == "post" and len(words) == 2 and item["area_px"] >= POST_AREA * pixels:
            seen.append(int(words[1]))
    shown = verdicts["shows-post"]
    if shown["value"] == "present" and seen:
        shown["count"], shown["place"] = len(seen), _span("post", [total - i for i in seen], total)
    return seen


def _brace(record: dict[str, Any], posts: list[int]) -> str:
    """The corner where a brace would be: a post well in the photo, and how the beam sits on it."""
    seats = {f["name"]: f["visible_share"] for f in record["features"] if f["kind"] == "beam-seat"}
    best = max((seats.get(f"post-{i}", 0.0) for i in posts), default=0.0)
    if best >= 0.5:
        return "present"
    return "unclear" if posts and seats else "absent"
