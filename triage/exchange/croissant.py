"""Croissant metadata (mlcommons.org/croissant, 1.0): a JSON-LD file that describes tables and pictures.

The tables are the CSV files. Pictures, where they are part of the export, are a set of files and a record set
whose `file` is the column `file` of `photos`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from triage.exchange.content import Content
from triage.exchange.tables import TABLES
from triage.label.files import write_whole
from triage.library.store import sha256_of

_TYPES = {
    "text": "sc:Text",
    "time": "sc:DateTime",
    "integer": "sc:Integer",
    "number": "sc:Float",
    "true/false": "sc:Boolean",
}
_KEYS = {"photos": "photo", "tags": "tag", "decks": "deck"}
PICTURES = "pictures"
_PICTURE_FILES = ("photos/**/*.[jJ][pP][gG]", "photos/**/*.[jJ][pP][eE][gG]")
_CONTEXT: dict[str, Any] = {
    "@language": "en",
    "@vocab": "https://schema.org/",
    "citeAs": "cr:citeAs",
    "column": "cr:column",
    "conformsTo": "dct:conformsTo",
    "cr": "http://mlcommons.org/croissant/",
    "rai": "http://mlcommons.org/croissant/RAI/",
    "data": {"@id": "cr:data", "@type": "@json"},
    "dataType": {"@id": "cr:dataType", "@type": "@vocab"},
    "dct": "http://purl.org/dc/terms/",
    "equivalentProperty": "cr:equivalentProperty",
    "examples": {"@id": "cr:examples", "@type": "@json"},
    "extract": "cr:extract",
    "field": "cr:field",
    "fileProperty": "cr:fileProperty",
    "fileObject": "cr:fileObject",
    "fileSet": "cr:fileSet",
    "format": "cr:format",
    "includes": "cr:includes",
    "isLiveDataset": "cr:isLiveDataset",
    "jsonPath": "cr:jsonPath",
    "key": "cr:key",
    "md5": "cr:md5",
    "parentField": "cr:parentField",
    "path": "cr:path",
    "recordSet": "cr:recordSet",
    "references": "cr:references",
    "regex": "cr:regex",
    "repeated": "cr:repeated",
    "replace": "cr:replace",
    "samplingRate": "cr:samplingRate",
    "sc": "https://schema.org/",
    "separator": "cr:separator",
    "source": "cr:source",
    "subField": "cr:subField",
    "transform": "cr:transform",
}
NO_LICENSE = "No license was given: ask the owner of the photos before any use."


def write_croissant(
    content: Content, folder: Path, files: list[Path], day: str, sides: Mapping[str, tuple[int, int]]
) -> Path:
    """Describe what was written into a folder: CSV tables, and pictures where `sides` holds any.

    `day` is an ISO 8601 date; `sides` gives (width, height) in pixels of each picture by photo.
    """
    path = folder / "croissant.json"
    data = croissant_of(content, folder, files, day, sides)
    write_whole(path, json.dumps(data, ensure_ascii=False, allow_nan=False, indent=1).encode())
    return path


def croissant_of(
    content: Content, folder: Path, files: list[Path], day: str, sides: Mapping[str, tuple[int, int]]
) -> dict[str, Any]:
    """Return the metadata document; parameters as for `write_croissant`."""
    decks = len({photo.deck for photo in content.photos})
    return {
        "@context": _CONTEXT,
        "@type": "sc:Dataset",
        "name": "deck-photos",
        "description": (
            f"{len(content.photos)} photos of {decks} wood decks with {len(content.labels)} labels by "
            "people. A label says what one photo shows; an absent defect is not a safe deck."
        ),
        "conformsTo": "http://mlcommons.org/croissant/1.0",
        "citeAs": f"Photo library {content.library_id}, exported by deck-triage on {day}",
        "datePublished": day,
        "license": NO_LICENSE,
        "url": f"urn:deck-triage:library:{content.library_id}",
        "version": "1.0.0",
        "rai:personalSensitiveInformation": (
            "Positions are included." if content.positions else "Positions and serial numbers were left out."
        ),
        "distribution": [
            {
                "@type": "cr:FileObject",
                "@id": file.name,
                "name": file.name,
                "contentUrl": file.relative_to(folder).as_posix(),
                "encodingFormat": "text/csv",
                "contentSize": f"{file.stat().st_size} B",
                "sha256": sha256_of(file),
            }
            for file in files
        ]
        + ([_picture_files(sides)] if sides else []),
        "recordSet": [_record_set(table) for table in TABLES] + ([_picture_records()] if sides else []),
    }


def _picture_files(sides: Mapping[str, tuple[int, int]]) -> dict[str, Any]:
    longest = max(max(size) for size in sides.values())
    return {
        "@type": "cr:FileSet",
        "@id": "picture-files",
        "name": "picture-files",
        "description": (
            f"{len(sides)} upright JPEG pictures without metadata, at most {longest} pixels on the longer "
            "side; blackouts are painted in."
        ),
        "encodingFormat": "image/jpeg",
        "includes": list(_PICTURE_FILES),
    }


def _picture_records() -> dict[str, Any]:
    source: dict[str, Any] = {"fileSet": {"@id": "picture-files"}}
    return {
        "@type": "cr:RecordSet",
        "@id": PICTURES,
        "name": PICTURES,
        "description": "One record per picture; join it with photos on the column file.",
        "key": {"@id": f"{PICTURES}/file"},
        "field": [
            {
                "@type": "cr:Field",
                "@id": f"{PICTURES}/file",
                "name": "file",
                "description": "name of the picture below the folder photos",
                "dataType": "sc:Text",
                "references": {"field": {"@id": "photos/file"}},
                "source": {
                    **source,
                    "extract": {"fileProperty": "fullpath"},
                    "transform": {"regex": "^(?:photos/)?(.+)$"},
                },
            },
            {
                "@type": "cr:Field",
                "@id": f"{PICTURES}/image",
                "name": "image",
                "description": "the picture",
                "dataType": "sc:ImageObject",
                "source": {**source, "extract": {"fileProperty": "content"}},
            },
        ],
    }


def _record_set(table: str) -> dict[str, Any]:
    fields = []
    for one in TABLES[table]:
        name = one.name
        field: dict[str, Any] = {
            "@type": "cr:Field",
            "@id": f"{table}/{name}",
            "name": name,
            "description": f"{one.meaning} ({one.unit})" if one.unit else one.meaning,
            "dataType": _TYPES[one.kind],
            "source": {"fileObject": {"@id": f"{table}.csv"}, "extract": {"column": name}},
        }
        if name == "photo" and table != "photos":
            field["references"] = {"field": {"@id": "photos/photo"}}
        fields.append(field)
    found: dict[str, Any] = {"@type": "cr:RecordSet", "@id": table, "name": table, "field": fields}
    if table in _KEYS:
        found["key"] = {"@id": f"{table}/{_KEYS[table]}"}
    return found
