"""Reading what a browser sends: forms and JSON, never more than fits."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any
from urllib.parse import parse_qsl

from starlette.requests import ClientDisconnect, Request

from triage.errors import BadInput, TriageError

MAX_BODY_BYTES = 2_000_000
MAX_FIELDS = 5_000
SILENCE_S = 30.0
"""A body that stops coming for so long is given up."""


class BodyTooLarge(TriageError):
    """More was sent than this address takes."""


async def chunks(request: Request, most: int) -> AsyncIterator[bytes]:
    """Yield a request's body as it comes.

    Raises TooLarge beyond `most` bytes, BadInput for a body that breaks off or stops coming.
    """
    said = request.headers.get("content-length", "")
    if said.isdigit() and int(said) > most:
        raise BodyTooLarge(f"That is larger than the {_size(most)} taken here.", "Send it in smaller parts.")
    count = 0
    source = request.stream().__aiter__()
    while True:
        try:
            chunk = await asyncio.wait_for(source.__anext__(), SILENCE_S)
        except StopAsyncIteration:
            return
        except TimeoutError as error:
            raise BadInput("The rest of the file did not come.", "Send it again.") from error
        except ClientDisconnect as error:
            raise BadInput("The connection broke off.", "Send it again.") from error
        count += len(chunk)
        if count > most:
            raise BodyTooLarge(
                f"That is larger than the {_size(most)} taken here.", "Send it in smaller parts."
            )
        yield chunk


def _size(count: int) -> str:
    return f"{count // 1_000_000} MB" if count >= 1_000_000 else f"{count} bytes"


async def read(request: Request, most: int = MAX_BODY_BYTES) -> bytes:
    """Return a whole body. Raises TooLarge, BadInput as `chunks` does."""
    return b"".join([chunk async for chunk in chunks(request, most)])


def as_form(body: bytes) -> dict[str, list[str]]:
    """Return the fields of a form (application/x-www-form-urlencoded). Raises BadInput for anything else."""
    found: dict[str, list[str]] = {}
    try:
        pairs = parse_qsl(
            body.decode("utf-8"), keep_blank_values=True, max_num_fields=MAX_FIELDS, errors="strict"
        )
    except (UnicodeDecodeError, ValueError) as error:
        raise BadInput("The form could not be read.", "Load the page again and send it once more.") from error
    for name, value in pairs:
        found.setdefault(name, []).append(value)
    return found


def as_json(body: bytes) -> dict[str, Any]:
    """Return a JSON object. Raises BadInput for anything else, NaN and huge nesting included."""

    def refuse(word: str) -> Any:
        raise ValueError(f"{word} is no number")

    try:
        found = json.loads(body, parse_constant=refuse)
    except (ValueError, RecursionError) as error:
        raise BadInput("What was sent is no JSON.", "Load the page again.") from error
    if not isinstance(found, dict):
        raise BadInput("What was sent is no JSON object.", "Load the page again.")
    return found
