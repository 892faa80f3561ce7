"""Photos and words put straight into a library, without pictures."""

from __future__ import annotations

import hashlib
import json

from triage.library import EventDraft, Library

TAG = "rusted-connector"


def put_photo(library: Library, deck: str, name: str, content: str | None = None) -> str:
    """Add a photo whose original is a short text; imaging never looks at it here."""
    data = (content or f"{deck}/{name}").encode()
    sha = hashlib.sha256(data).hexdigest()
    file = library.originals.path(sha, ".jpg")
    if not file.exists():
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(data)
    facts = {
        "sha": sha,
        "bytes": len(data),
        "width": 40,
        "height": 30,
        "orientation": 1,
        "suffix": ".jpg",
        "taken_at": None,
        "camera": None,
        "focal_mm": None,
        "phash": None,
        "quality": {},
    }
    library.say_many(
        [
            EventDraft(
                "photo-added", facts, "ann", private={"exif": json.dumps({"latitude": 1.5, "of": name})}
            ),
            EventDraft("placed", {"sha": sha, "deck": deck, "visit": None, "name": name}, "ann"),
        ]
    )
    return sha


def put_label(library: Library, sha: str, value: str, by: str, tag: str = TAG) -> None:
    library.say("label", {"photo": sha, "tag": tag, "value": value}, by=by)
