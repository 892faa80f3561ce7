"""PDF from the report's own HTML by WeasyPrint (the `pdf` extra): fetches nothing, same bytes each time."""

from __future__ import annotations

import base64
import io
import logging
import os
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from PIL import ImageFile

from triage.errors import BadInput

_JPEG = "data:image/jpeg;base64,"
EPOCH_VARIABLE = "SOURCE_DATE_EPOCH"
"""Read by the font subsetter for the times inside embedded fonts (reproducible-builds.org)."""


def to_pdf(page: bytes) -> bytes:
    """Return an HTML page as PDF; raises BadInput where WeasyPrint (or its Pango) is not installed."""
    truncated = ImageFile.LOAD_TRUNCATED_IMAGES
    try:
        import weasyprint
    except (ImportError, OSError) as error:
        raise BadInput(
            f"PDF needs WeasyPrint, which cannot be loaded here ({type(error).__name__}).",
            "Install it: pip install 'deck-triage[pdf]' (and Debian's libpango-1.0-0, libpangoft2-1.0-0).",
        ) from error
    finally:
        # WeasyPrint switches this on for the whole program; half a photo must stay refused everywhere.
        ImageFile.LOAD_TRUNCATED_IMAGES = truncated
    with _fixed_epoch(), _quiet():
        html = weasyprint.HTML(
            string=isolated(page.decode()), base_url=None, url_fetcher=_fetcher(weasyprint)
        )
        document = html.render()
        return bytes(document.write_pdf(pdf_tags=True, finisher=_number_cells))


def _number_cells(_document: Any, pdf: Any) -> None:
    """Number the table cells of a tagged PDF in their order.

    WeasyPrint names a header cell by where it lies in memory, which differs from run to run.
    """
    names: dict[str, str] = {}
    for one in pdf.objects:
        if isinstance(one, dict) and one.get("Type") == "/StructElem" and "ID" in one:
            names.setdefault(_plain(one["ID"]), f"cell-{len(names) + 1}")
    for one in pdf.objects:
        if isinstance(one, dict) and one.get("Type") == "/StructElem":
            _rename(one, names)


def _plain(value: Any) -> str:
    return str(getattr(value, "string", value))


def _rename(value: Any, names: dict[str, str]) -> None:
    """Put the new names into a structure element, wherever it or a cell below it speaks of one."""
    items = list(value.items()) if isinstance(value, dict) else list(enumerate(value))
    for key, one in items:
        if isinstance(one, dict | list):
            _rename(one, names)
        elif hasattr(one, "string") and _plain(one) in names:
            value[key] = type(one)(names[_plain(one)])


def lines_of(data: bytes) -> list[tuple[int, str]]:
    """Return what a PDF says: (page, line of print) in order.

    Raises BadInput where pypdf (the `pdf` extra) is not installed or the file is no whole PDF.
    """
    try:
        from pypdf import PdfReader
        from pypdf.errors import PyPdfError
    except ImportError as error:
        raise BadInput(
            "Comparing a PDF's text needs pypdf, which is not installed here.",
            "Install it: pip install 'deck-triage[pdf]'.",
        ) from error
    with _quiet():
        try:
            pages = [one.extract_text() for one in PdfReader(io.BytesIO(data)).pages]
        except (PyPdfError, ValueError, KeyError, TypeError, IndexError, AttributeError, zlib.error) as error:
            raise BadInput(f"The file is no whole PDF ({type(error).__name__}).") from error
    return [
        (number, line.strip())
        for number, text in enumerate(pages, 1)
        for line in text.splitlines()
        if line.strip()
    ]


def isolated(page: str) -> str:
    """Return a page whose `bdi` elements hold Unicode isolates as well.

    WeasyPrint lays `bdi` out like any other element, so a name written from right to left would mix with the
    words around it; first strong isolate and pop directional isolate (UAX 9, 2.4.2) keep it apart.
    """
    return page.replace("<bdi>", "<bdi>\u2068").replace("</bdi>", "\u2069</bdi>")


def fetch_nothing(url: str) -> bytes:
    """Return the bytes of an embedded JPEG; raises ValueError for every other address."""
    if not url.startswith(_JPEG):
        raise ValueError("a report fetches nothing")
    return base64.b64decode(url[len(_JPEG) :], validate=True)


def _fetcher(weasyprint: Any) -> Any:
    """Return a fetcher of the kind that this WeasyPrint takes: a class since 68, a function before."""
    if not hasattr(weasyprint.urls, "URLFetcherResponse"):
        return lambda url, **_: {"string": fetch_nothing(url), "mime_type": "image/jpeg"}

    class NothingFetcher(weasyprint.urls.URLFetcher):  # type: ignore[misc]
        """Serves what the page itself embeds."""

        def fetch(self, url: str, headers: Any = None) -> Any:
            """Return an embedded picture; everything else is refused."""
            return weasyprint.urls.URLFetcherResponse(url, fetch_nothing(url), {"Content-Type": "image/jpeg"})

    return NothingFetcher()


@contextmanager
def _fixed_epoch() -> Iterator[None]:
    before = os.environ.get(EPOCH_VARIABLE)
    os.environ[EPOCH_VARIABLE] = before or "0"
    try:
        yield
    finally:
        if before is None:
            os.environ.pop(EPOCH_VARIABLE, None)


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep the PDF libraries' notices (unknown properties, font tables) off the terminal."""
    loggers = [logging.getLogger(name) for name in ("weasyprint", "fontTools", "pypdf")]
    levels = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL)
    try:
        yield
    finally:
        for logger, level in zip(loggers, levels, strict=True):
            logger.setLevel(level)
