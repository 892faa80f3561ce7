"""Label files of other tools: COCO JSON, and a folder tree `class/photo`; categories mapped to tags.

A name in a foreign file is only ever compared with the photos of the library; no file it names is opened.
"""

from __future__ import annotations

import json
import os
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from triage.domain.tiers import VALUES
from triage.errors import BadInput
from triage.label.files import MOST_COUNT, LabelRow, SetAside, checked_box, parse_time
from triage.label.rows import PhotoFinder
from triage.library import queries
from triage.library.records import ASKED_BY, UNKNOWN_ORDER
from triage.library.store import sha256_of

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.records import Photo

MOST_BYTES = 1_000_000_000
MOST_TEXT = 4_000
_SHAPE = 0.02
"""Share by which a file's picture may differ in shape from the photo before its boxes are refused."""
_SAME = 1e-6
"""Fractions that differ by less are the same box: pixels are written with the digits of a float."""
_DRIVE = re.compile(r"[A-Za-z]:")
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u200b-\u200f\u202a-\u202e\u2066-\u2069]")
Read = tuple[list[LabelRow], list[SetAside]]


def read_labels_file(library: Library, path: Path, mapping: Path | None = None) -> Read:
    """Read a COCO file or a folder tree; returns the rows and what was set aside, with reasons.

    The mapping is a TOML file with a table `[categories]`: foreign name = "tag", "tag=value", or "" to leave
    it out. A category without an entry must have a tag's name. Raises BadInput for a file that cannot be
    read at all, or a mapping that names an unknown tag.
    """
    categories = Categories.read(library, mapping)
    if path.is_dir():
        return _read_tree(library, path, categories)
    return _Coco(library, _load(path), categories).read()


@dataclass(frozen=True)
class Categories:
    """What foreign categories mean: a tag and a value each, or nothing (left out)."""

    tags: frozenset[str]
    mapped: Mapping[str, tuple[str, str] | None] = field(default_factory=dict)

    @classmethod
    def read(cls, library: Library, path: Path | None) -> Categories:
        """Read a mapping file. Raises BadInput naming file and entry."""
        tags = frozenset(library.vocabulary().tags)
        if path is None:
            return cls(tags)
        try:
            table = tomllib.loads(path.read_text(encoding="utf-8")).get("categories")
        except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
            raise BadInput(f"{path} cannot be read: {error}.", "Write it as TOML (UTF-8).") from error
        if not isinstance(table, dict):
            raise BadInput(
                f"{path} has no table [categories].", 'Write lines such as: "rust" = "rusted-connector"'
            )
        return cls(tags, {str(name): cls._meaning(path, name, said, tags) for name, said in table.items()})

    @staticmethod
    def _meaning(path: Path, name: str, said: Any, tags: frozenset[str]) -> tuple[str, str] | None:
        if not isinstance(said, str):
            raise BadInput(f"{path}: {name!r} must be a text.", 'Write "tag", "tag=value", or "".')
        if not said.strip():
            return None
        tag, _, value = said.partition("=")
        tag, value = tag.strip(), value.strip() or "present"
        if tag not in tags:
            raise BadInput(f"{path}: {name!r} is mapped to the unknown tag {tag!r}.", "See: deck-triage tags")
        if value not in VALUES:
            raise BadInput(
                f"{path}: {name!r} has the unknown value {value!r}.", f"Values: {', '.join(VALUES)}."
            )
        return tag, value

    def of(self, name: str) -> tuple[str, str] | None:
        """Return (tag, value), or null where it is left out. Raises BadInput for an unknown category."""
        if name in self.mapped:
            return self.mapped[name]
        if name in self.tags:
            return name, "present"
        raise BadInput(f"the category {name[:80]!r} is not a tag; map it with --map FILE.toml")


def safe_name(text: Any) -> str:
    """Return a photo's name from a foreign file, with forward slashes.

    Raises BadInput for one that is absolute, leads upward, names a drive or an address, or hides characters.
    """
    if not isinstance(text, str) or not text.strip():
        raise BadInput("the photo has no file_name")
    name = text.replace("\\", "/").removeprefix("./")
    hostile = name.startswith(("/", "~")) or _DRIVE.match(name) or "://" in name or ".." in name.split("/")
    if hostile or _CONTROL.search(name) or len(name) > 1000:
        raise BadInput(f"the file_name {text[:80]!r} does not name a photo below the dataset's folder")
    return name


def _load(path: Path) -> Mapping[str, Any]:
    """Read JSON strictly: no NaN, no endless numbers, of a sane size."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise BadInput(f"{path} is larger than {MOST_BYTES // 10**9} GB.", "Split it.")
        data = json.loads(path.read_bytes(), parse_constant=_no_constant)
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror or error}.") from error
    except (ValueError, RecursionError) as error:
        raise BadInput(f"{path} is not valid JSON: {error}.", "Export it again as COCO JSON.") from error
    if not isinstance(data, dict) or not isinstance(data.get("images"), list):
        raise BadInput(
            f"{path} is not a COCO file: it has no list `images`.", "Export it again as COCO JSON."
        )
    return data


def _no_constant(text: str) -> None:
    raise ValueError(f"it holds {text}, which is not a number")


class _Coco:
    """One COCO file being read: categories and images by id, photos found, words gathered."""

    def __init__(self, library: Library, data: Mapping[str, Any], categories: Categories) -> None:
        self.categories = categories
        self.finder = PhotoFinder(library)
        self.photos = {photo.sha: photo for photo in queries.photos(library)}
        self.names = _by_id(data.get("categories"), "categories")
        self.images = _by_id(data["images"], "images")
        self.annotations = _rows(data.get("annotations"))
        self.labels = _rows(data.get("image_labels"))
        self.settlements = _rows(data.get("settlements"))
        self.aside: list[SetAside] = []

    def read(self) -> Read:
        rows: dict[tuple[str, str, str, str | None], LabelRow] = {}
        for number, annotation in enumerate([*self.annotations, *self.labels], start=1):
            try:
                row = self._row(number, annotation)
            except BadInput as error:
                self.aside.append(SetAside(number, str(error)))
                continue
            if row is None:
                continue
            key = (row.photo, row.tag, row.value, row.by)
            if key in rows:
                row = LabelRow(**{**rows[key].__dict__, "boxes": rows[key].boxes + row.boxes})
            rows[key] = row
        return [*rows.values(), *self._settlements(len(self.annotations) + len(self.labels))], self.aside

    def _settlements(self, before: int) -> Iterator[LabelRow]:
        """How disputes ended: rows that settle the words read before them."""
        for number, said in enumerate(self.settlements, start=before + 1):
            try:
                row = self._row(number, said)
            except BadInput as error:
                self.aside.append(SetAside(number, str(error)))
                continue
            if row is not None:
                yield replace(row, settles=True, note=_free(said.get("why")))

    def _row(self, number: int, said: Any) -> LabelRow | None:
        if not isinstance(said, dict):
            raise BadInput("the annotation is not an object")
        category = self.names.get(_key(said.get("category_id")))
        if category is None:
            raise BadInput(f"there is no category {said.get('category_id')!r}")
        meaning = self.categories.of(str(category.get("name")))
        if meaning is None:
            return None
        image = self.images.get(_key(said.get("image_id")))
        if image is None:
            raise BadInput(f"there is no image {said.get('image_id')!r}")
        name = safe_name(image.get("file_name"))
        sha = image.get("sha256")
        known = sha if isinstance(sha, str) and sha in self.photos else None
        photo = self.photos[known or self.finder.find(name, None)]
        value = said.get("value", meaning[1])
        if value not in VALUES:
            raise BadInput(f"value {value!r} is not one of {', '.join(VALUES)}")
        boxes = _boxes(said, image, photo)
        by, at = said.get("by"), said.get("at")
        asked_by = said.get("asked_by")
        if asked_by is not None and asked_by not in ASKED_BY:
            raise BadInput(f"asked_by {str(asked_by)[:80]!r} is not one of {', '.join(ASKED_BY)}")
        count = said.get("count")
        if count is not None and not (type(count) is int and 0 <= count <= MOST_COUNT):
            raise BadInput(f"count {str(count)[:80]!r} is not a whole number from 0 to {MOST_COUNT}")
        return LabelRow(
            number,
            photo.sha,
            photo.deck,
            meaning[0],
            value,
            by if isinstance(by, str) and by else None,
            parse_time(at) if isinstance(at, str) else None,
            boxes,
            place=_free(said.get("place")),
            count=count,
            asked_by=asked_by or "taken",
            saw_machine=said.get("saw_machine") is True,
            note=_free(said.get("note")),
            order_known=asked_by not in (None, UNKNOWN_ORDER),
        )


def _free(text: Any) -> str | None:
    """A free text of a file, without control characters; null where there is none."""
    return (_CONTROL.sub(" ", text)[:MOST_TEXT].strip() or None) if isinstance(text, str) else None


def _rows(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


def _key(value: Any) -> Any:
    return value if isinstance(value, (int, str)) else None


def _by_id(value: Any, what: str) -> dict[Any, Mapping[str, Any]]:
    found: dict[Any, Mapping[str, Any]] = {}
    for row in _rows(value):
        if not isinstance(row, dict) or _key(row.get("id")) is None:
            raise BadInput(f"The COCO file has {what} without an id.", "Export it again.")
        if row["id"] in found:
            raise BadInput(f"The COCO file has two {what} with the id {row['id']!r}.", "Export it again.")
        found[row["id"]] = row
    return found


def _boxes(
    said: Mapping[str, Any], image: Mapping[str, Any], photo: Photo
) -> tuple[tuple[float, float, float, float], ...]:
    """The boxes of an annotation as fractions; those written beside the pixels where they say the same."""
    one = bool(said.get("bbox"))
    drawn = [said["bbox"]] if one else _rows(said.get("boxes"))
    exact = [said.get("fractions")] if one else _rows(said.get("fractions"))
    exact += [None] * (len(drawn) - len(exact))
    return tuple(
        _exactly(_fractions(box, image, photo), beside) for box, beside in zip(drawn, exact, strict=False)
    )


def _exactly(found: tuple[float, float, float, float], beside: Any) -> tuple[float, float, float, float]:
    sides = beside if isinstance(beside, list) and len(beside) == 4 else [None]
    if not all(isinstance(side, (int, float)) and not isinstance(side, bool) for side in sides):
        return found
    near = all(abs(side - own) < _SAME for side, own in zip(sides, found, strict=True))
    return checked_box(*map(float, sides)) if near else found


def _fractions(bbox: Any, image: Mapping[str, Any], photo: Photo) -> tuple[float, float, float, float]:
    """Pixels of the file's picture as fractions of the upright photo."""
    width, height = image.get("width") or photo.width, image.get("height") or photo.height
    sides = [*bbox, width, height] if isinstance(bbox, list) and len(bbox) == 4 else [None]
    if not all(isinstance(side, (int, float)) and not isinstance(side, bool) for side in sides):
        raise BadInput("bbox must be four numbers, and the image needs width and height")
    if width <= 0 or height <= 0:
        raise BadInput("the image has no size")
    shape, upright = width / height, photo.width / photo.height
    if abs(shape / upright - 1) > _SHAPE:
        turned = abs(shape * upright - 1) <= _SHAPE
        why = "is lying on its side" if turned else "has a different shape"
        raise BadInput(f"the box was drawn on a picture of {width:g} x {height:g}, which {why}")
    return checked_box(bbox[0] / width, bbox[1] / height, bbox[2] / width, bbox[3] / height)


def _read_tree(library: Library, root: Path, categories: Categories) -> Read:
    """Read `class/photo`: each photo file, known by its content, is present in its folder's class."""
    known = queries.shas(library)
    rows: list[LabelRow] = []
    aside: list[SetAside] = []
    for number, (category, file) in enumerate(_tree_files(root), start=1):
        try:
            meaning = categories.of(category)
            if meaning is None:
                continue
            if file.is_symlink():
                raise BadInput(f"{category}/{file.name} is a link, which is not followed")
            sha = sha256_of(file)
            if sha not in known:
                raise BadInput(f"{category}/{file.name} is not a photo of this library; ingest it first")
            rows.append(LabelRow(number, sha, None, *meaning))
        except BadInput as error:
            aside.append(SetAside(number, str(error)))
        except OSError as error:
            aside.append(
                SetAside(number, f"{category}/{file.name} cannot be read: {error.strerror or error}")
            )
    if not rows and not aside:
        raise BadInput(
            f"{root} holds no folders with photos in them.", "Lay it out as FOLDER/class/photo.jpg."
        )
    return rows, aside


def _tree_files(root: Path) -> Iterator[tuple[str, Path]]:
    for folder in sorted(root.iterdir()):
        if folder.name.startswith(".") or not folder.is_dir() or folder.is_symlink():
            continue
        for where, folders, files in os.walk(folder, followlinks=False):
            folders[:] = sorted(name for name in folders if not name.startswith("."))
            for name in sorted(files):
                if not name.startswith("."):
                    yield folder.name, Path(where) / name
