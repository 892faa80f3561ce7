"""Sheets of the same photo through several runs."""

import subprocess
import sys
from pathlib import Path

from PIL import Image

SHEET = Path(__file__).resolve().parents[2] / "tools" / "render" / "sheet"


def made(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, str(SHEET), *arguments], capture_output=True, text=True, check=False
    )


def test_columns_stand_in_the_order_given_and_upright(tmp_path: Path) -> None:
    turned = Image.new("RGB", (48, 64), (200, 0, 0))
    exif = Image.Exif()
    exif[0x0112] = 6
    turned.save(tmp_path / "a.jpg", exif=exif)
    Image.new("RGB", (64, 48), (0, 0, 200)).save(tmp_path / "b.jpg")
    out = tmp_path / "sheets"
    done = made("--out", str(out), "--view", "beam", f"old={tmp_path}/a.jpg", f"new={tmp_path}/b.jpg")
    assert done.returncode == 0, done.stderr
    with Image.open(out / "beam.jpg") as sheet:
        assert sheet.size == (1024, 406)
        red, blue = sheet.getpixel((256, 200)), sheet.getpixel((768, 200))
    assert red[0] > 150 > red[2]
    assert blue[2] > 150 > blue[0]


def test_a_photo_that_is_not_there_is_named(tmp_path: Path) -> None:
    done = made("--out", str(tmp_path), "--view", "beam", f"old={tmp_path}/gone.jpg")
    assert done.returncode == 1
    assert "There is no photo" in done.stderr
    assert "gone.jpg" in done.stderr
