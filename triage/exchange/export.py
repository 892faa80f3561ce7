"""`export`: the library in open formats, with a datasheet."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from triage.errors import BadInput, Cancelled, TriageError
from triage.exchange.coco import write_coco
from triage.exchange.content import Content, gather
from triage.exchange.croissant import write_croissant
from triage.exchange.datasheet import write_datasheet
from triage.exchange.splits import split_decks
from triage.exchange.tables import write_csv_tables, write_parquet_tables
from triage.exchange.xmp import write_sidecars
from triage.imaging.blackout import blackouts, paint_over
from triage.label.files import write_whole
from triage.library import queries
from triage.library.look_alikes import deck_groups

if TYPE_CHECKING:
    from triage.audit.agreeing import Agreement
    from triage.batch import Cancel, Progress
    from triage.library import Library
    from triage.library.records import Photo

FORMATS = ("csv", "parquet", "coco", "croissant", "xmp")
_IN_TABLES = ("csv", "parquet", "croissant")
PICTURES = ("none", "renditions", "full")
_PICTURES_SAID = {
    "none": "The pictures themselves are not part of this export.",
    "renditions": "Pictures are upright JPEGs of at most 1600 pixels without any metadata.",
    "full": "Pictures are upright JPEGs in full size without any metadata.",
}
PHOTOS_FOLDER = "photos"
_FULL_PX = 100_000


@dataclass
class ExportResult:
    """What an export wrote, and what could not be written, with the reason."""

    files: list[Path] = field(default_factory=list)
    set_aside: list[tuple[str, str]] = field(default_factory=list)
    seed: str | None = None


def export_library(
    library: Library,
    folder: Path,
    kind: str,
    *,
    split: Sequence[float] = (),
    seed: str | None = None,
    pseudonyms: bool = True,
    with_text: bool = False,
    show_position: bool = False,
    pictures: str | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> ExportResult:
    """Write a library into a folder, which is made where it is missing; files of the same name are replaced.

    People are written as pseudonyms and their notes left out unless `pseudonyms` is false. Blackouts are
    painted into every picture.

    `pictures` is none, renditions (default where the format points to pictures) or full. Raises BadInput for
    an unknown format, an empty library, a split that cannot be; Cancelled between pictures.
    """
    if kind not in FORMATS:
        raise BadInput(f"{kind!r} is not an export format.", f"Formats: {', '.join(FORMATS)}.")
    pictures = pictures or ("none" if kind in ("csv", "parquet") else "renditions")
    if pictures not in PICTURES:
        raise BadInput(f"{pictures!r} is not a way to export pictures.", f"Ways: {', '.join(PICTURES)}.")
    groups = deck_groups(library)
    photos = queries.photos(library)
    sizes = Counter(groups.group(photo.deck) for photo in photos)
    if not sizes:
        raise BadInput("The library holds no photos to export.", "Ingest some first.")
    splits = split_decks(sizes, split, seed) if split else None
    if splits is not None:  # decks that share look-alikes are in one part
        of = {photo.deck: splits.of[groups.group(photo.deck)] for photo in photos}
        splits = replace(splits, of=of)
    content = gather(
        library,
        splits=splits,
        pseudonyms=pseudonyms,
        with_text=with_text,
        show_position=show_position,
        assessed=kind in _IN_TABLES,
    )
    folder.mkdir(parents=True, exist_ok=True)
    done = ExportResult(seed=splits.seed if splits else None)
    if content.unassessed is not None:
        done.set_aside.append(("the tables decks, concerns and coverage", content.unassessed))
    sides = _write_pictures(library, content, folder, pictures, done, progress, cancel)
    day = datetime.now(UTC).date().isoformat()
    done.files += _write(content, folder, kind, sides, day)
    done.files.append(write_datasheet(content, folder, _agreement(library), _PICTURES_SAID[pictures], day))
    return done


def _write(
    content: Content, folder: Path, kind: str, sides: dict[str, tuple[int, int]], day: str
) -> list[Path]:
    if kind == "parquet":
        return write_parquet_tables(content, folder)
    if kind == "coco":
        return write_coco(content, folder, sides)
    if kind == "xmp":
        return write_sidecars(content, folder / PHOTOS_FOLDER)
    files = write_csv_tables(content, folder)
    return [*files, write_croissant(content, folder, files, day, sides)] if kind == "croissant" else files


def _agreement(library: Library) -> dict[str, Agreement] | str:
    """What the audit says of the people, or its sentence why nothing can be said."""
    from triage.audit import agree

    try:
        return agree(library)
    except BadInput as error:
        return str(error)


def _write_pictures(
    library: Library,
    content: Content,
    folder: Path,
    pictures: str,
    done: ExportResult,
    progress: Progress | None,
    cancel: Cancel | None,
) -> dict[str, tuple[int, int]]:
    """Write the pictures; returns (width, height) of each in pixels."""
    sides: dict[str, tuple[int, int]] = {}
    if pictures == "none":
        return sides
    black = blackouts(library)
    for number, photo in enumerate(content.photos, start=1):
        if cancel is not None and cancel():
            raise Cancelled("The export was stopped.")
        if progress is not None:
            progress("writing pictures", number, len(content.photos))
        file = folder / PHOTOS_FOLDER / content.names[photo.sha]
        try:
            data = paint_over(_picture(library, photo, pictures), black.get(photo.sha, ()))
        except TriageError as error:
            done.set_aside.append((photo.path_name, str(error)))
            continue
        file.parent.mkdir(parents=True, exist_ok=True)
        write_whole(file, data)
        sides[photo.sha] = _size(data)
        done.files.append(file)
    return sides


def _picture(library: Library, photo: Photo, pictures: str) -> bytes:
    """An upright JPEG without metadata: the pixels as they are where that needs no new encoding."""
    from triage.imaging import make_rendition, strip_metadata
    from triage.imaging.kept import rendition_of

    if pictures == "renditions":
        return strip_metadata(rendition_of(library, photo.sha).read_bytes())
    data = library.original(photo.sha).read_bytes()
    if data[:2] == b"\xff\xd8" and photo.orientation == 1:
        return strip_metadata(data)
    return make_rendition(data, _FULL_PX)


def _size(jpeg: bytes) -> tuple[int, int]:
    import io

    from PIL import Image

    with Image.open(io.BytesIO(jpeg)) as picture:
        return picture.size
