"""True pixels in the terminal: what a terminal says it can, and the very picture that was sent, upright."""

from __future__ import annotations

import base64
import fcntl
import io
import os
import re
import struct
import termios
import time

import numpy as np
import pytest
from PIL import Image

from tests.terminal.test_labeling import Terminal
from triage.ingest import ingest
from triage.library import Library, queries
from triage.terminal.pixels import BLOCKS, KITTY, SIXEL, Way, way_said

CORNERS = {"top left": (220, 40, 40), "top right": (40, 200, 40), "bottom left": (40, 60, 220)}
"""The photo's colors as a person sees it; the fourth corner is white."""
TURNED = 6
"""EXIF: the picture is to be turned right by a quarter (TIFF 6.0, Orientation)."""


@pytest.fixture
def turned(tmp_path):
    """The folder of a library with one photo that lies on its side in the file, with four corners to tell."""
    upright = np.full((800, 600, 3), 255, np.uint8)
    upright[:400, :300], upright[:400, 300:], upright[400:, :300] = CORNERS.values()
    lying = np.rot90(upright)  # a quarter to the left: EXIF says to turn it back
    exif = Image.Exif()
    exif[0x0112] = TURNED
    (tmp_path / "card" / "D-1").mkdir(parents=True)
    Image.fromarray(lying).save(tmp_path / "card" / "D-1" / "side.jpg", exif=exif, quality=95)
    with Library.create(tmp_path / "turned") as library:
        ingest(library, [tmp_path / "card"], by="ann", engine="here")
    return tmp_path / "turned"


class Emulator(Terminal):
    """A pseudo-terminal of 80 x 24 cells of 10 x 20 pixels that answers as a terminal would."""

    def __init__(self, folder, *words, answer="", late=0.0, cells=True):
        super().__init__("label", "ask", "--no-elements", "--by", "ann", "-L", folder, *words)
        if cells:
            fcntl.ioctl(self.master, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 800, 480))
        if answer:
            self.wait_for("\x1b[c")
            time.sleep(late)
            os.write(self.master, answer.encode())

    def drawn(self, pattern):
        """Wait for everything that a pattern finds in what was written, and return it."""
        end = time.monotonic() + 40
        while time.monotonic() < end:
            try:
                self.wait_for("never comes", seconds=0.6)
            except AssertionError:
                found = re.findall(pattern, self.seen, re.DOTALL)
                if found:
                    return found
        raise AssertionError(f"no picture came; last: {self.seen[-300:]!r}")


def assert_upright(picture):
    """The four corners have the colors that a person sees, in a portrait picture."""
    picture = picture.astype(int)
    high, wide = picture.shape[:2]
    assert high > wide, "the photo stands"
    near = {
        "top left": picture[high // 4, wide // 4],
        "top right": picture[high // 4, 3 * wide // 4],
        "bottom left": picture[3 * high // 4, wide // 4],
        "bottom right": picture[3 * high // 4, 3 * wide // 4],
    }
    for corner, color in {**CORNERS, "bottom right": (255, 255, 255)}.items():
        assert near[corner] == pytest.approx(color, abs=14), corner


def from_kitty(messages):
    """Return the PNG that came in chunks: the first picture that is whole."""
    data = ""
    for head, payload in messages:
        if "f=100" in head:
            data += payload
            if "m=0" in head.split(","):
                return np.asarray(Image.open(io.BytesIO(base64.b64decode(data))).convert("RGB"))
    raise AssertionError("no picture came to its end")


def from_sixels(body):
    """Decode sixels as DEC's manual says: colors 0 to 100, bands of six rows, `!` repeats, `$` goes back."""
    wide, high = (int(part) for part in re.match(r'"1;1;(\d+);(\d+)', body).groups())
    picture = np.zeros((high + 6, wide, 3), np.uint8)
    colors: dict[int, tuple[int, ...]] = {}
    x = y = now = 0
    for number, red, green, blue, repeat, code, sixel in re.findall(
        r"#(\d+)(?:;2;(\d+);(\d+);(\d+))?|!(\d+)(.)|([$\-?-~])", body[body.index(";1;") + 3 :]
    ):
        if number:
            now = int(number)
            if red:
                colors[now] = tuple(round(int(part) * 2.55) for part in (red, green, blue))
        elif sixel == "$":
            x = 0
        elif sixel == "-":
            x, y = 0, y + 6
        else:
            many, bits = (int(repeat), ord(code) - 63) if repeat else (1, ord(sixel) - 63)
            for row in range(6):
                if bits >> row & 1:
                    picture[y + row, x : x + many] = colors[now]
            x += many
    return picture[:high]


def test_kitty_gets_the_photo_upright(turned):
    terminal = Emulator(turned, "--pixels", "kitty")
    try:
        picture = from_kitty(terminal.drawn(r"\x1b_G([^;\x1b]*);([A-Za-z0-9+/=]+)\x1b\\"))
        assert_upright(picture)
        assert min(picture.shape[:2]) > 200, "true pixels, not characters"
        terminal.wait_for("\U0010eeee")  # cells hold its place
        terminal.read_for(0.5)  # a key that follows the picture too soon is dropped
        terminal.press("a")
        terminal.wait_for("1 of 5")
    finally:
        terminal.close()


def test_a_terminal_that_knows_sixels_gets_the_photo_upright(turned):
    terminal = Emulator(turned, answer="\x1b[?62;4;22c")
    try:
        picture = from_sixels(terminal.drawn(r"\x1bP[\d;]*q(.*?)\x1b\\")[-1])
        assert_upright(picture)
        assert min(picture.shape[:2]) > 200
        terminal.read_for(0.5)  # a key that follows the picture too soon is dropped
        terminal.press("a")
        terminal.wait_for("1 of 5")
    finally:
        terminal.close()


def test_a_slow_answer_is_waited_for_and_never_taken_for_keys(turned):
    terminal = Emulator(turned, answer="\x1b[?62;22c", late=1.0)
    try:
        terminal.wait_for("0 of 5 answered")
        terminal.wait_for("▀")
        assert "\x1b_Gf" not in terminal.seen
        terminal.read_for(1.0)  # a key that follows the picture too soon is dropped
        terminal.press("q")
        assert terminal.ended() == 0
    finally:
        terminal.close()
    with Library.open(turned) as library:
        assert queries.labels(library) == [], "'c' of the answer would have been 'cannot tell'"


def test_blocks_can_be_wanted_and_nothing_is_asked(turned):
    terminal = Emulator(turned, "--pixels", "blocks")
    try:
        terminal.wait_for("▀")
        assert "\x1b[c" not in terminal.seen
        assert "\x1bP" not in terminal.seen
    finally:
        terminal.close()


@pytest.mark.parametrize(
    ("said", "wanted", "window", "way"),
    [
        ("", "auto", None, Way(BLOCKS, (10, 20))),
        ("\x1b[?62;22c", "auto", (9, 18), Way(BLOCKS, (9, 18))),
        ("\x1b[?62;4c", "auto", (9, 18), Way(SIXEL, (9, 18))),
        ("\x1b[?4c", "auto", None, Way(BLOCKS, (10, 20))),  # the first number is the terminal's class
        ("\x1b_Gi=31;OK\x1b\\\x1b[?62c", "auto", None, Way(KITTY, (10, 20))),
        ("\x1b_Gi=31;OK\x1b\\\x1b[?62;4c", "auto", None, Way(SIXEL, (10, 20))),
        ("\x1b_Gi=31;EINVAL:no\x1b\\\x1b[?62c", "auto", None, Way(BLOCKS, (10, 20))),
        ("\x1b[6;34;17t\x1b[?62;4c", "auto", None, Way(SIXEL, (17, 34))),
        ("", "kitty", None, Way(KITTY, (10, 20))),
        ("\x1b[6;34;17t\x1b[?62c", "sixel", None, Way(SIXEL, (17, 34))),
    ],
)
def test_what_the_terminal_said_decides(said, wanted, window, way):
    assert way_said(said, wanted, window) == way
