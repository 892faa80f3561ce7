"""Cards printed at 150 dpi are read back by OpenCV and by zbar, and their lengths are what the paper says.

Outside readers: poppler's pdftoppm draws the page, OpenCV's ArUco and QR detectors and Debian's zbarimg read
it. The markers' places are compared in pixels with the layout's millimeters at 150 dpi.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import cv2
import numpy as np
import pytest

from triage.slate.card import Card
from triage.slate.draw import PER_SHEET, SHEET_MM, write_cards
from triage.slate.layout import DICTIONARY

DPI = 150
needs_poppler = pytest.mark.skipif(
    shutil.which("pdftoppm") is None, reason="pdftoppm (poppler-utils) is not installed"
)
needs_zbar = pytest.mark.skipif(
    shutil.which("zbarimg") is None, reason="zbarimg (zbar-tools) is not installed"
)

CARDS = {
    "letter": [Card("3fa9c1d2", "D-17", "2026-05-04")],
    "a4": [Card("0badcafe", "Gartenweg 3, hinten (Südseite)", None, closing=True, paper="a4")],
    "pocket": [
        Card("3fa9c1d2", "oak-lane-12-rear", "2026-05-04", paper="pocket"),
        Card("3fa9c1d2", "x" * 60, "2026-05-04", closing=True, paper="pocket"),
    ],
}


@pytest.fixture(scope="module", params=sorted(CARDS))
def page(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    folder = tmp_path_factory.mktemp("card")
    write_cards(folder / "card.pdf", CARDS[request.param])
    command = ["pdftoppm", "-r", str(DPI), "-f", "1", "-l", "1", "-gray", "-png", "-singlefile"]
    subprocess.run([*command, str(folder / "card.pdf"), str(folder / "front")], check=True)
    return request.param, folder / "front.png"


@needs_poppler
def test_opencv_finds_every_marker_where_the_layout_puts_it(page: tuple[str, Path]) -> None:
    paper, path = page
    gray = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    words = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    corners, ids, _ = cv2.aruco.ArucoDetector(words).detectMarkers(gray)
    seen = {int(one): quad.reshape(4, 2) for one, quad in zip(ids.ravel(), corners, strict=True)}
    wanted = [one for card in CARDS[paper] for one in card.layout.marker_ids(card.check)]
    assert sorted(seen) == sorted(wanted)
    width, height = SHEET_MM[paper]
    for place, card in enumerate(CARDS[paper]):
        middle = np.array([width / 2, height * (2 * place + 1) / (2 * PER_SHEET[paper])])
        ids_of_card = card.layout.marker_ids(card.check)
        for one, corners_mm in zip(ids_of_card, card.layout.marker_corners, strict=True):
            pixels = (corners_mm + middle) * DPI / 25.4 - 0.5
            assert np.abs(seen[one] - pixels).max() < 1.0


@needs_poppler
def test_opencv_reads_every_code(page: tuple[str, Path]) -> None:
    paper, path = page
    ok, texts, *_ = cv2.QRCodeDetector().detectAndDecodeMulti(cv2.imread(str(path), cv2.IMREAD_GRAYSCALE))
    assert ok
    assert sorted(texts) == sorted(card.text for card in CARDS[paper])


@needs_poppler
@needs_zbar
def test_zbar_reads_every_code(page: tuple[str, Path]) -> None:
    paper, path = page
    said = subprocess.run(["zbarimg", "-q", "--raw", str(path)], capture_output=True, check=True, timeout=60)
    assert sorted(said.stdout.decode().splitlines()) == sorted(card.text for card in CARDS[paper])


@needs_poppler
def test_the_ruler_line_is_as_long_as_it_says(page: tuple[str, Path]) -> None:
    paper, path = page
    gray = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    layout = CARDS[paper][0].layout
    half = gray[: gray.shape[0] // PER_SHEET[paper]]
    runs = [_longest_run(row < 128) for row in half]
    wanted = layout.ruler_in * DPI
    frame = layout.width_mm / 25.4 * DPI
    assert any(abs(run - wanted) <= 1 for run in runs if run < frame - 5)


def _longest_run(dark: np.ndarray) -> int:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], dark.astype(int), [0]])))
    return int((edges[1::2] - edges[::2]).max(initial=0))
