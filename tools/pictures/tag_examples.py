"""Cut the example pictures of the tags out of the rendered demo photos.

`python -m tools.pictures.tag_examples` writes `example-<tag>-is.jpg` (what it is) and, for the core tags,
`example-<tag>-not.jpg` (what looks like it but is not) among the page's static files.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from pathlib import Path

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


if __name__ == "__main__":
    main()
