"""The run: photo by photo, deck by deck; what is done stays done, and a stopped run goes on where it was."""

from __future__ import annotations

import importlib.util
import json
import shutil
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from . import decks, exif
from .build import build
from .errors import RenderError
from .layout import Layout, layout
from .looks import add_looks
from .meshes import Scene
from .params import DeckParams
from .phone import PHONES, Exposure, Phone, develop, iso_gain
from .shots import FIRST, SECOND, Shot, began, place_of, schedule, second_visit, shots
from .truth import PhotoTruth, photo_truth
from .views import View, make_view

FULL_SIZE, SMALL_SIZE = (1024, 768), (320, 240)
Job = tuple[int, DeckParams, list[Shot]]
#: Disk that a whole run needs, with its largest temporary file.
NEEDED_BYTES = 300_000_000


def jobs(only: frozenset[str] = frozenset()) -> Iterator[tuple[int, DeckParams, list[Shot]]]:
    """Decks in the order of rendering; `only` keeps some codes.

    Raises:
        RenderError: a code is not one of the 48.
    """
    unknown = sorted(only - {decks.deck_code(i) for i in range(48)})
    if unknown:
        raise RenderError(f"There is no deck '{unknown[0]}'.", "They are called deck-01 to deck-48.")
    for i, visit in schedule():
        if not only or decks.deck_code(i) in only:
            yield (i, decks.deck(i), shots(i)) if visit == FIRST else (i, *second_visit(i))


def place(out: Path, shot: Shot) -> Path:
    """Where the photo of a shot is kept."""
    return out / shot.visit / shot.deck / shot.name


def is_done(out: Path, shot: Shot) -> bool:
    """Whether photo and truth are both there."""
    path = place(out, shot)
    return path.is_file() and path.with_suffix(".json").is_file()


def need_renderer() -> None:
    """Say clearly when the renderer is not there.

    Raises:
        RenderError: bpy cannot be imported.
    """
    if importlib.util.find_spec("bpy") is None:
        raise RenderError(
            "The renderer (bpy 5.0.1, 1.3 GB) is not installed here.",
            "Run tools/render/setup once; it makes an environment of its own.",
        )


def need_disk(out: Path, needed_bytes: int = NEEDED_BYTES) -> None:
    """Say clearly when the disk is too full.

    Raises:
        RenderError: less than `needed_bytes` are free.
    """
    out.mkdir(parents=True, exist_ok=True)
    free = shutil.disk_usage(out).free
    if free < needed_bytes:
        raise RenderError(
            f"Only {free // 1_000_000} MB are free at {out}, {needed_bytes // 1_000_000} MB are needed.",
            "Free some space or choose another --out.",
        )


def run(
    out: Path,
    *,
    photos: int | None = None,
    small: bool = False,
    samples: int | None = None,
    threads: int = 2,
    only: frozenset[str] = frozenset(),
    views: frozenset[str] = frozenset(),
    planned: Iterable[Job] | None = None,
    size: tuple[int, int] | None = None,
    say: Callable[[str], None] = lambda text: None,
) -> int:
    """Take the photos that are not there yet, at most `photos`; gives back how many were taken.

    `planned` are other decks than the library's 48; `size` is the picture's in pixels.

    Raises:
        RenderError: no renderer, too little disk, or an unknown deck.
    """
    need_disk(out)
    need_renderer()
    from .cycles import Stage

    taken, size = 0, size or (SMALL_SIZE if small else FULL_SIZE)
    for i, deck, plan in jobs(only) if planned is None else planned:
        todo = [s for s in plan if not is_done(out, s) and (not views or s.view in views)]
        if not todo:
            continue
        scene, positions = build(deck)
        stage = Stage(deck, scene, threads)
        for shot in todo:
            if photos is not None and taken >= photos:
                return taken
            start, cpu = time.monotonic(), time.process_time()
            _take(stage, out, i, deck, scene, positions, shot, size, samples or paths_for(shot.view))
            taken += 1
            say(
                f"{shot.visit} {shot.deck}/{shot.name} {time.monotonic() - start:.1f} s, "
                f"processor {time.process_time() - cpu:.1f} s"
            )
    return taken


def shoot(
    deck: DeckParams,
    scene: Scene,
    view: View,
    phone: Phone,
    exposure: Exposure | None = None,
    *,
    samples: int = 4,
    seed: int = 0,
    threads: int = 2,
) -> tuple[np.ndarray, PhotoTruth]:
    """One picture (h, w, 3) of any scene with its truth, for tests of other parts; nothing is written.

    Raises:
        RenderError: the renderer is not installed.
    """
    need_renderer()
    from .cycles import Stage

    stage = Stage(deck, scene, threads)
    stage.show(view.hidden)
    with TemporaryDirectory() as folder:
        radiance, ids = stage.shoot(view.camera, view.light, Path(folder), samples)
    how = exposure or Exposure(iso=iso_gain(radiance, view.light.flash > 0))
    picture = develop(radiance, view.camera, phone, how, np.random.default_rng(seed))
    bent = view.camera.bend_ids(ids)
    return picture, photo_truth(scene, deck, layout(deck), view.camera, bent, stage.names, how.shake_px)


def paths_for(view: str) -> int:
    """Light paths per pixel: under the deck it is dark, there more are spent."""
    return 3 if view in ("hanger-near", "hanger-far", "ledger-below", "beam-side") else 2


def _take(
    stage: Any,
    out: Path,
    i: int,
    deck: DeckParams,
    scene: Scene,
    plan: Layout,
    shot: Shot,
    size: tuple[int, int],
    samples: int,
) -> None:
    """One photo: radiance and ids from the renderer, the rest from here."""
    rng, phone = shot.rng(), PHONES[shot.phone]
    view = make_view(shot.view, plan, shot.aim, shot.light, phone, size, rng)
    stage.show(view.hidden)
    radiance, ids = stage.shoot(view.camera, view.light, out, samples)
    exposure = shot.exposed()
    if size != FULL_SIZE:
        exposure = replace(exposure, shake_px=exposure.shake_px * size[0] / FULL_SIZE[0])
    exposure = exposure.but(iso=iso_gain(radiance, shot.light == "flash"))
    picture = develop(radiance, view.camera, phone, exposure, rng)
    found = photo_truth(
        scene, deck, plan, view.camera, view.camera.bend_ids(ids), stage.names, exposure.shake_px
    )
    moment = _moment(i, shot, exposure)
    path = place(out, shot)
    exif.save(path, exif.encode(picture, phone, moment, shot.orientation))
    record = (
        _record(shot, view.camera, exposure, moment)
        | found.to_json()
        | {
            "verdicts": {
                tag: {"value": v.value, "boxes": v.boxes, "place": v.place, "count": v.count}
                for tag, v in found.labels.items()
            }
        }
    )
    exif.save(path.with_suffix(".json"), json.dumps(add_looks(record, plan), default=_plain).encode())


def _moment(i: int, shot: Shot, exposure: Exposure) -> exif.Moment:
    latitude, longitude = place_of(i)
    rng = np.random.default_rng([i, shot.number])
    return exif.Moment(
        began(i, shot.visit) + timedelta(seconds=shot.seconds),
        round(latitude + float(rng.normal(0, 4e-5)), 6),
        round(longitude + float(rng.normal(0, 4e-5)), 6),
        1 / 30 if exposure.iso > 3 else 1 / 120,
        int(round(50 * exposure.iso**1.5)),
        shot.light == "flash",
    )


def _record(shot: Shot, camera: Any, exposure: Exposure, moment: exif.Moment) -> dict[str, Any]:
    return {
        "photo": f"{shot.deck}/{shot.name}",
        "deck": shot.deck,
        "visit": shot.visit,
        "view": shot.view,
        "light": shot.light,
        "taken_at": moment.taken_at.isoformat(),
        "phone": PHONES[shot.phone].model,
        "orientation": shot.orientation,
        "camera": {
            "eye_m": [round(v, 4) for v in camera.eye],
            "target_m": [round(v, 4) for v in camera.target],
            "hfov_deg": camera.hfov_deg,
            "roll_deg": round(camera.roll_deg, 2),
            "distortion": camera.distortion,
            "width_px": camera.width_px,
            "height_px": camera.height_px,
        },
        "exposure": {
            "gain": round(exposure.iso, 2),
            "bias_ev": exposure.bias_ev,
            "shake_px": exposure.shake_px,
            "thumb": exposure.thumb,
        },
    }


def _plain(value: Any) -> Any:
    """JSON for numpy numbers."""
    return value.item() if isinstance(value, np.generic) else list(value)


def finished(out: Path) -> list[tuple[int, DeckParams, list[Shot]]]:
    """Decks and visits of which every photo is there."""
    return [(i, deck, plan) for i, deck, plan in jobs() if all(is_done(out, s) for s in plan)]


def second_visits_of(
    done: list[tuple[int, DeckParams, list[Shot]]],
) -> list[tuple[int, DeckParams, list[Shot]]]:
    """The finished second visits among them."""
    return [job for job in done if job[2][0].visit == SECOND]
