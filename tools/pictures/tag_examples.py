"""Cut the example pictures of the tags out of the rendered demo photos.

`python -m tools.pictures.tag_examples` writes `example-<tag>-is.jpg` (what it is) and `example-<tag>-not.jpg`
(what looks like it but is not; of a part, a photo that shows it too poorly) among the page's static files.
Core tags and parts are known from the demo library's labels. Of the other tags those are shown that a deck
was drawn with (`DRAWN`): its parameters say that the fault is there, the truth of each photo where to look.
"""

from __future__ import annotations

import csv
import json
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PIL import Image, ImageOps

SAMPLES = Path(__file__).resolve().parents[2] / "sample_photos"
STATIC = Path(__file__).resolve().parents[2] / "triage" / "web" / "static"
CORE = {
    "missing-hanger": "hanger",
    "rusted-connector": "connector",
    "nail-only-ledger": "ledger",
    "debris-at-flashing": "flashing",
    "side-bolted-beam": "beam",
}
SIDE_PX = 240
AREA = 0.08
"""The share of the photo that a good example's box has."""
Row = dict[str, str]
Deck = Mapping[str, Any]


@dataclass(frozen=True)
class Drawn:
    """A tag that some decks were drawn with: which, how its sound look-alike was drawn, and where it shows.

    `views` are the kinds of photos that show it, `part` the component around which the picture is cut.
    """

    has: Callable[[Deck], bool]
    alike: Callable[[Deck], bool]
    views: tuple[str, ...]
    part: str
    more: float = 1.0


_SOUND_BOLTS = {"ledger_fastener": "bolt", "ledger_bolt_spacing_in": 16.0}


def _is(**wanted: Any) -> Callable[[Deck], bool]:
    return lambda deck: all(deck[name] == value for name, value in wanted.items())


DRAWN: Mapping[str, Drawn] = {
    "ledger-fasteners-sparse": Drawn(
        _is(ledger_fastener="bolt", ledger_bolt_spacing_in=32.0),
        _is(**_SOUND_BOLTS),
        ("ledger-below",),
        "ledger-bolt",
        6.0,
    ),
    "flashing-missing": Drawn(
        _is(flashing="none", debris=0.0),
        _is(flashing="over-ledger", debris=0.0),
        ("flashing-above",),
        "",
        1.0,
    ),
    "toe-nailed-joist": Drawn(
        lambda deck: bool(deck["missing_hangers"]),
        lambda deck: deck["hanger_nailing"] == "full" and not deck["rusted_hangers"],
        ("hanger-near",),
        "toe-nails",
        3.0,
    ),
    "beam-single-ply": Drawn(_is(beam_plies=1), _is(beam_plies=2), ("beam-end", "beam-side"), "beam", 1.2),
    "post-4x4": Drawn(_is(post_size="4x4"), _is(post_size="6x6"), ("beam-end", "beam-side"), "post-", 1.2),
    "beam-not-seated": Drawn(
        _is(post_seated=False), _is(beam_bearing="on-post", post_seated=True), ("beam-end",), "post-"
    ),
}


def cut(photo: str, box: str, name: str) -> None:
    """Write a square around a box (fractions of the upright photo); without one, the photo's middle."""
    picture = ImageOps.exif_transpose(Image.open(SAMPLES / "photos" / photo)).convert("RGB")
    width, height = picture.size
    across, down, side = width / 2, height / 2, float(min(width, height))
    if box:
        x, y, w, h = (float(part) for part in box.split(";")[0].split(","))
        across, down = (x + w / 2) * width, (y + h / 2) * height
        side = min(side, max(w * width * 1.7, h * height * 1.7, 0.42 * side))
    left = min(max(0.0, across - side / 2), width - side)
    top = min(max(0.0, down - side / 2), height - side)
    square = picture.crop((int(left), int(top), int(left + side), int(top + side)))
    small = square.resize((SIDE_PX, SIDE_PX), Image.Resampling.LANCZOS)
    small.save(STATIC / name, quality=76, optimize=True)


def _unfit(row: Row) -> float:
    if not row["box"]:
        return 1.0
    width, height = (float(part) for part in row["box"].split(";")[0].split(",")[2:])
    return abs(width * height - AREA)


def _value(rows: dict[str, Row], tag: str) -> str:
    return rows[tag]["value"] if tag in rows else ""


def _deck_of(photo: str) -> str:
    return photo.split("/", 1)[0]


def _best(rows: list[dict[str, Any]], drawn: Drawn, *, sound: bool) -> tuple[str, str] | None:
    """Return the photo that shows the part largest, whole and upright, and the box to cut around."""
    found = []
    for row in rows:
        wide, high = row["camera"]["width_px"], row["camera"]["height_px"]
        part = "hanger-" if sound and drawn.part == "toe-nails" else drawn.part
        boxes = [one["box_px"] for one in row["components"] if part and one["component"].startswith(part)]
        whole = [
            box for box in boxes if box[0] > 4 and box[1] > 4 and box[2] < wide - 4 and box[3] < high - 4
        ]
        if not part:
            found.append((0.0, row["photo"], ""))
        for left, top, right, bottom in whole or boxes:
            across, down = (left + right) / 2, (top + bottom) / 2
            w, h = (right - left) * drawn.more, (bottom - top) * drawn.more
            area = (right - left) * (bottom - top) / (wide * high)
            box = f"{(across - w / 2) / wide},{(down - h / 2) / high},{w / wide},{h / high}"
            found.append((-min(area, 0.2), row["photo"], box))
    return min(found)[1:] if found else None


def drawn_ones(used: set[str]) -> None:
    """Write the pictures of the tags that decks were drawn with."""
    decks = {}
    for line in (SAMPLES / "decks.jsonl").read_text().splitlines():
        row = json.loads(line)
        decks.setdefault(row["deck"], row["parameters"])
    photos = [json.loads(line) for line in (SAMPLES / "truth.jsonl").read_text().splitlines()]
    photos = [row for row in photos if row["orientation"] == 1 and row["exposure"]["shake_px"] < 1.5]
    for tag, drawn in DRAWN.items():
        for which, fits in (("is", drawn.has), ("not", drawn.alike)):
            rows = [row for row in photos if fits(decks[row["deck"]]) and row["view"] in drawn.views]
            rows = [row for row in rows if row["photo"] not in used] or rows
            best = _best(rows, drawn, sound=which == "not")
            if best is None:
                raise SystemExit(f"No photo of the demo library shows {tag} ({which}).")
            used.add(best[0])
            cut(best[0], best[1], f"example-{tag}-{which}.jpg")


def main() -> None:
    """Write the pictures of every tag that a demo photo shows."""
    photos: dict[str, dict[str, Row]] = defaultdict(dict)
    with (SAMPLES / "labels.csv").open() as file:
        for row in csv.DictReader(file):
            photos[row["photo"]][row["tag"]] = row
    used: set[str] = set()
    for tag in sorted({tag for rows in photos.values() for tag in rows}):
        having = [photo for photo, rows in photos.items() if _value(rows, tag) == "present"]
        having.sort(key=lambda photo: (photo in used, _unfit(photos[photo][tag]), photo))  # noqa: B023
        if not having:
            continue
        best = having[0]
        used.add(best)
        cut(best, photos[best][tag]["box"], f"example-{tag}-is.jpg")
        if tag not in CORE:
            poorly = sorted(photo for photo, rows in photos.items() if _value(rows, tag) == "unclear")
            for photo in poorly[:1]:
                cut(photo, photos[photo][tag]["box"], f"example-{tag}-not.jpg")
            continue
        part = f"shows-{CORE[tag]}"
        kind = Path(best).name.split("-")[0]
        alike = [
            photo
            for photo, rows in photos.items()
            if _value(rows, tag) == "absent" and _value(rows, part) == "present"
        ]
        alike.sort(key=lambda photo: (not Path(photo).name.startswith(kind), photo))  # noqa: B023
        cut(alike[0], photos[alike[0]][part]["box"], f"example-{tag}-not.jpg")
    drawn_ones(used)


if __name__ == "__main__":
    main()
