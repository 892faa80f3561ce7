"""COCO JSON: boxes as annotations in pixels, and every answer about a photo as an image tag.

COCO can only say what is there. Answers 'absent' and 'unclear', and answers without a box, are in the list
`image_labels` (with `boxes` where somebody drew some), and how a dispute ended is in `settlements`. Readers
of plain COCO skip both; `deck-triage label read` takes all of them. A place without a size is a point and
has `keypoints` too. `fractions` gives each box in parts of the upright photo as well as in pixels, so that it
comes back the same to the last digit.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from triage.exchange.content import Content
from triage.label.files import write_whole
from triage.library.records import Label, Photo


def write_coco(content: Content, folder: Path, pictures: dict[str, tuple[int, int]]) -> list[Path]:
    """Write one file, or one per split; `pictures` holds the exported pictures' (width, height) in pixels.

    A photo that was not exported keeps the size of the upright photo.
    """
    parts = content.splits.names if content.splits else ("",)
    files = []
    for part in parts:
        photos = [photo for photo in content.photos if content.split_of(photo) == part]
        files.append(folder / (f"coco-{part}.json" if part else "coco.json"))
        data = coco_of(content, photos, pictures)
        write_whole(files[-1], json.dumps(data, ensure_ascii=False, allow_nan=False, indent=1).encode())
    return files


def coco_of(content: Content, photos: list[Photo], pictures: dict[str, tuple[int, int]]) -> dict[str, Any]:
    """Return the COCO document of some photos."""
    category = {tag: number for number, tag in enumerate(content.tags, start=1)}
    image = {photo.sha: number for number, photo in enumerate(photos, start=1)}
    size = {photo.sha: pictures.get(photo.sha, (photo.width, photo.height)) for photo in photos}
    annotations, image_labels = _labels_of(content, category, image, size)
    return {
        "info": {
            "description": "Photos of decks with people's labels, exported by deck-triage",
            "version": "1.0",
            "library": content.library_id,
        },
        "licenses": [],
        "images": [
            {
                "id": image[photo.sha],
                "file_name": content.names[photo.sha],
                "width": size[photo.sha][0],
                "height": size[photo.sha][1],
                "sha256": photo.sha,
                "deck": photo.deck,
                "date_captured": photo.taken_at or "",
            }
            for photo in photos
        ],
        "categories": [
            {"id": number, "name": tag, "supercategory": content.tags[tag].element or content.tags[tag].kind}
            for tag, number in category.items()
        ],
        "annotations": annotations,
        "image_labels": image_labels,
        "settlements": [
            {"image_id": image[sha], "category_id": category[tag], **said}
            for (sha, tag), said in sorted(content.settlements.items())
            if sha in image and tag in category
        ],
    }


def _labels_of(
    content: Content,
    category: dict[str, int],
    image: dict[str, int],
    size: dict[str, tuple[int, int]],
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the labels with boxes as annotations, and the others as labels of the whole image."""
    annotations: list[dict[str, Any]] = []
    image_labels: list[dict[str, Any]] = []
    for label in content.labels:
        if label.photo not in image or label.tag not in category:
            continue
        said = {
            "image_id": image[label.photo],
            "category_id": category[label.tag],
            "value": label.value,
            "by": label.by,
            "at": label.at,
            "asked_by": label.asked_by,
            "saw_machine": label.saw_machine,
            **{
                name: value
                for name, value in (("place", label.place), ("count", label.count), ("note", label.note))
                if value is not None
            },
        }
        boxes = _pixel_boxes(label, size[label.photo]) if label.value == "present" else []
        for box, exact in zip(boxes, label.boxes, strict=False):
            place = {"bbox": box, "area": box[2] * box[3], "iscrowd": 0, "fractions": list(exact)}
            annotations.append({"id": len(annotations) + 1, **said, **place})
            if box[2] == 0 and box[3] == 0:  # a point, as COCO writes it: x, y, visible
                annotations[-1] |= {"keypoints": [box[0], box[1], 2], "num_keypoints": 1}
        if not boxes:
            drawn = {"boxes": _pixel_boxes(label, size[label.photo]), "fractions": [*map(list, label.boxes)]}
            looked_at = drawn if label.boxes else {}
            image_labels.append({"id": len(image_labels) + 1, **said, **looked_at})
    return annotations, image_labels


def _pixel_boxes(label: Label, size: tuple[int, int]) -> list[list[float]]:
    width, height = size
    return [[x * width, y * height, w * width, h * height] for x, y, w, h in label.boxes]
