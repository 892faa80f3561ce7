"""The run: what is asked, what is refused, and (where the renderer is installed) four small photos."""

import importlib.util
import os
import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from deckscene import design, job, shots
from deckscene.errors import RenderError
from deckscene.exr import layer, read_exr

TOOL = Path(__file__).resolve().parents[2] / "tools" / "render"


def renderer() -> Path | None:
    cache = Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache"))
    python = Path(os.environ.get("DECK_RENDER_VENV", cache / "deck-triage-render")) / "bin" / "python"
    if importlib.util.find_spec("bpy") is not None:
        return Path(sys.executable)
    return python if python.is_file() else None


def test_every_photo_has_a_name_of_its_own_and_decks_come_whole() -> None:
    places = [(s.visit, s.deck, s.name) for _, _, plan in job.jobs() for s in plan]
    assert len(places) == len(set(places))
    rounds = [plan[0].deck for _, _, plan in job.jobs() if plan[0].visit == shots.FIRST]
    assert sorted(rounds) == [f"deck-{i:02d}" for i in range(1, 49)]
    assert all(5 <= len(plan) <= 20 for _, _, plan in job.jobs() if plan[0].visit == shots.FIRST)


def test_full_rounds_hold_every_view() -> None:
    wanted = {
        "hanger-near",
        "hanger-far",
        "ledger-below",
        "flashing-above",
        "beam-end",
        "beam-side",
        "post-foot",
    }
    for i in design.SOUND:
        assert wanted | {"whole-deck", "stairs", "guard"} <= {s.view for s in shots.shots(i)}


def test_cards_hold_what_real_cards_hold() -> None:
    all_shots = [s for _, _, plan in job.jobs() for s in plan]
    assert {s.orientation for s in all_shots} >= {1, 3, 6}
    assert any(s.exposure.get("shake_px") for s in all_shots)
    assert any(s.exposure.get("thumb") for s in all_shots)
    assert any(s.light == "flash" for s in all_shots)
    assert any(s.view == "truck" for s in all_shots)
    twins = [s for s in all_shots if s.name.endswith("IMG_0412.jpg")]
    assert len({s.phone for s in twins if s.deck == twins[0].deck}) == 2
    burst = [s for s in all_shots if s.name.startswith("burst") and s.deck == "deck-03"]
    assert np.ptp([s.seconds for s in burst]) <= 4


def test_an_unknown_deck_is_refused() -> None:
    with pytest.raises(RenderError, match="There is no deck 'deck-77'"):
        list(job.jobs(frozenset({"deck-77"})))


def test_a_full_disk_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RenderError, match="MB are free"):
        job.need_disk(tmp_path, needed_bytes=10**18)


def test_no_renderer_is_said_clearly(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(RenderError, match="is not installed here") as caught:
        job.run(tmp_path, photos=1)
    assert "tools/render/setup" in caught.value.hint


def exr_bytes(values: np.ndarray) -> bytes:
    """An EXR of one float channel, written by the published layout (openexr.com, file layout)."""
    h, w = values.shape
    channels = b"view.Depth.Z\0" + struct.pack("<iB3xii", 2, 0, 1, 1) + b"\0"
    window = struct.pack("<4i", 0, 0, w - 1, h - 1)
    header = b""
    for name, kind, data in (
        (b"channels", b"chlist", channels),
        (b"compression", b"compression", b"\0"),
        (b"dataWindow", b"box2i", window),
    ):
        header += name + b"\0" + kind + b"\0" + struct.pack("<i", len(data)) + data
    head = b"\x76\x2f\x31\x01" + struct.pack("<I", 2) + header + b"\0"
    rows = [struct.pack("<ii", y, 4 * w) + values[y].astype("<f4").tobytes() for y in range(h)]
    start = len(head) + 8 * h
    return head + b"".join(struct.pack("<Q", start + y * len(rows[0])) for y in range(h)) + b"".join(rows)


def test_exr_scan_lines_are_read(tmp_path: Path) -> None:
    values = np.arange(12.0).reshape(3, 4)
    (tmp_path / "a.exr").write_bytes(exr_bytes(values))
    channels = read_exr(tmp_path / "a.exr")
    assert np.array_equal(layer(channels, "Depth"), values)
    with pytest.raises(RenderError, match="no layer 'Colour'"):
        layer(channels, "Colour")
    (tmp_path / "b.exr").write_bytes(b"nothing")
    with pytest.raises(RenderError, match="not an EXR"):
        read_exr(tmp_path / "b.exr")


@pytest.mark.skipif(
    renderer() is None, reason="the renderer (bpy 5.0.1) is not installed: tools/render/setup"
)
def test_four_small_photos_and_the_same_again(tmp_path: Path) -> None:
    def shoot(name: str, photos: int) -> list[bytes]:
        ask = [
            str(renderer()),
            str(TOOL / "run"),
            "--out",
            str(tmp_path / name),
            "--photos",
            str(photos),
            "--small",
            "--samples",
            "2",
        ]
        subprocess.run(ask, check=True, capture_output=True, timeout=500)
        return [p.read_bytes() for p in sorted((tmp_path / name).rglob("*.jpg"))]

    one = shoot("one", 2) and shoot("one", 2)  # goes on where it stopped
    assert len(one) == 4
    assert shoot("two", 1)[0] in one
