"""Photos for the screen, by hash only: small, upright at 1600 pixels, and at full pixels. No metadata."""

from __future__ import annotations

import secrets
import threading
from pathlib import Path

from starlette.responses import FileResponse, Response

from triage.imaging.kept import rendition_of
from triage.library import Library
from triage.web.request_context import NotThere, RequestContext, photo_of

THUMB_LONG_SIDE_PX = 480
_NOT_KEPT = {"cache-control": "no-store"}
"""A browser that keeps a photo would still have it after the photo was removed for good."""
_JPEG = "image/jpeg"
_heavy = threading.Semaphore(2)
"""Full decodes at once: each may take hundreds of megabytes."""


def thumb(ask: RequestContext) -> Response:
    """Send the small picture."""
    return FileResponse(thumb_of(ask.library, _sha(ask)), media_type=_JPEG, headers=_NOT_KEPT)


def picture(ask: RequestContext) -> Response:
    """Send the upright picture, at most 1600 pixels long."""
    return FileResponse(rendition_of(ask.library, _sha(ask)), media_type=_JPEG, headers=_NOT_KEPT)


def full(ask: RequestContext) -> Response:
    """Send the photo upright with all its pixels, encoded again."""
    from triage.imaging import open_upright
    from triage.imaging.rendition import encode_jpeg

    with _heavy:
        upright = open_upright(ask.library.original(_sha(ask)))
        return Response(encode_jpeg(upright.rgb, 92), media_type=_JPEG, headers=_NOT_KEPT)


def _sha(ask: RequestContext) -> str:
    sha = ask.path.get("sha", "")
    if len(sha) != 64 or not set(sha) <= set("0123456789abcdef"):
        raise NotThere("There is no such photo in this library.", "It may have been removed.")
    if ask.library.renditions.path(sha).exists():  # a photo that was removed leaves no rendition behind
        return sha
    return photo_of(ask.library, sha).sha


def thumb_of(library: Library, sha: str) -> Path:
    """Return the path of a small picture, made from the rendition where it is not kept."""
    path = library.caches / "thumbs" / sha[:2] / f"{sha}.jpg"
    rendition = rendition_of(library, sha)
    if path.exists():
        return path
    import cv2

    from triage.errors import BadPhoto

    picture = cv2.imread(str(rendition), cv2.IMREAD_REDUCED_COLOR_2)
    if picture is None:
        raise BadPhoto("The picture of this photo cannot be read.", "Check the library.")
    scale = min(1.0, THUMB_LONG_SIDE_PX / max(picture.shape[:2]))
    size = (max(1, round(picture.shape[1] * scale)), max(1, round(picture.shape[0] * scale)))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    data = cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, 82])[1].tobytes()
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.parent / f".{sha[:12]}.{secrets.token_hex(4)}.tmp"
    temporary.write_bytes(data)
    temporary.replace(path)
    return path
