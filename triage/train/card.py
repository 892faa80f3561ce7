"""The model card: what a model was trained on, what it can do, what it must not be used for.

Markdown for people, JSON for scripts, a reliability diagram per tag as SVG; every figure is over decks that
were left out.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from triage.domain.plurals import count_of
from triage.library import queries
from triage.library.people import pseudonyms
from triage.train.calibrate import held_out_probabilities
from triage.train.card_text import markdown, reliability_svg
from triage.train.known import known
from triage.train.measures import LEAST_DECKS, equal_mass_bins
from triage.train.operating import operating_points
from triage.train.report import tag_json
from triage.train.types import LIKELY_FROM, TagModel, TooFew

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.records import Label, Photo

__all__ = ["card_of", "markdown", "reliability_svg", "write_card"]

WORST = 6
NOT_FOR = (
    "Not for saying that a deck is safe: no model sees what nobody photographed or what a photo cannot show.",
    "Not for photos unlike those it was trained on: other cameras, other light, another region's decks.",
    "Not for other people's libraries: train on your own labels.",
    "A model trained on the rendered demo library is for trying the tool and must not be used on real decks.",
)
PROMISE_WORDS = (
    "The promise is per tag and on average over decks that have the defect: of a deck's photos that show it, "
    "at most this share is put in the pile 'unlikely'. It says nothing about several tags together or about "
    "one deck. A photo answered 'unclear' counts as answered but never as one that shows the defect: where "
    "faint defects are answered 'unclear', the machine may leave out more of them than is promised."
)


def card_of(library: Library, tag: str | None = None, *, show_names: bool = False) -> dict[str, Any]:
    """Return the card of the model in use as plain values, for all tags or one.

    Labelers are pseudonyms unless their names are asked for.
    Raises BadInput where no model was trained, or the tag has none.
    """
    from triage.errors import BadInput
    from triage.train.store import load_model

    models = load_model(library.model_dir)
    if tag is not None and tag not in models:
        raise BadInput(f"The model in use knows no tag {tag!r}.", f"It knows: {', '.join(models)}.")
    chosen = {name: one for name, one in models.items() if tag in (None, name)}
    labels = [label for label in queries.labels(library) if label.tag in chosen]
    if not show_names:
        with library.read() as connection:
            alias = pseudonyms(connection, {label.by for label in labels})
        labels = [replace(label, by=alias[label.by]) for label in labels]
    photos = {photo.sha: photo for photo in queries.photos(library)}
    trained = queries.statements(library, "trained")[-1]
    return {
        "model": queries.model_in_use(library),
        "trained_at": trained.at,
        "data": trained.payload.get("data"),
        "versions": _versions(),
        "labels": _labels(labels, photos),
        "likely_from": LIKELY_FROM,
        "promise_words": PROMISE_WORDS,
        "not_for": list(NOT_FOR),
        "tags": {
            name: _tag(one, [label for label in labels if label.tag == name], photos)
            for name, one in chosen.items()
        },
    }


def _versions() -> dict[str, str]:
    """What computed the card: this program, and the libraries that its numbers hang on."""
    import scipy

    from triage.version import __version__

    return {"deck-triage": __version__, "numpy": np.__version__, "scipy": scipy.__version__}


def _labels(labels: Sequence[Label], photos: Mapping[str, Photo]) -> dict[str, Any]:
    used = [photos[sha] for sha in {label.photo for label in labels} if sha in photos]
    cameras = Counter(photo.camera or "unknown" for photo in used)
    dates = sorted(photo.taken_at[:10] for photo in used if photo.taken_at)
    warnings = []
    if set(cameras) == {"unknown"}:
        warnings.append("No photo states its camera: how far the model carries over is not known.")
    elif len(cameras) == 1:
        warnings.append("All photos come from one camera: expect less on others.")
    if len({label.by for label in labels}) == 1:
        warnings.append("One person gave all labels: nobody checked them (see audit agree).")
    return {
        "count": len(labels),
        "photos": len(used),
        "decks": len({photo.deck for photo in used}),
        "saw_machine": sum(label.saw_machine for label in labels),
        "unclear": sum(label.value == "unclear" for label in labels),
        "labellers": dict(Counter(label.by for label in labels).most_common()),
        "asked_by": dict(Counter(label.asked_by for label in labels).most_common()),
        "cameras": dict(cameras.most_common()),
        "taken_from": dates[0] if dates else None,
        "taken_to": dates[-1] if dates else None,
        "warnings": warnings,
    }


def _tag(model: TagModel | TooFew, labels: Sequence[Label], photos: Mapping[str, Photo]) -> dict[str, Any]:
    said = tag_json(model)
    if isinstance(model, TooFew):
        return said
    figures = {name: value for name, value in vars(model.figures).items() if name not in said}
    shas, chance, present = _held_out(model, photos)
    about = _labels(labels, photos)
    return {
        **said,
        **figures,
        "positive_decks": model.positive_decks,
        "boxed": model.boxed,
        "known": known(model),
        "calibration": model.calibration.kind,
        "shown_as_bands": model.bands,
        "recipe": model.recipe_sha,
        "labellers": about["labellers"],
        "cameras": about["cameras"],
        "taken_from": about["taken_from"],
        "taken_to": about["taken_to"],
        "not_for": _not_for(model, labels, photos),
        "operating_points": operating_points(model),
        "reliability_diagram": _reliability(chance, present),
        "worst_mistakes": _worst(shas, chance, present, photos),
    }


def _not_for(model: TagModel, labels: Sequence[Label], photos: Mapping[str, Photo]) -> list[str]:
    """Where this tag's model must not be relied on, by what it was trained on."""
    found = []
    if model.positive_decks < LEAST_DECKS:
        found.append(
            f"Only {count_of(model.positive_decks, 'deck shows', 'decks show')} it: no "
            f"interval is given below {LEAST_DECKS}, and the figures may be far off."
        )
    showing = [photos[one.photo] for one in labels if one.value == "present" and one.photo in photos]
    cameras = {photo.camera for photo in showing}
    if len(cameras) == 1 and None not in cameras and "" not in cameras:
        found.append("All photos that show it come from one camera: not for others before they were checked.")
    if model.bands:
        found.append("Fewer than 20 photos show it: read its probabilities as bands, not as per cents.")
    if not model.promise.holds:
        found.append("Not for leaving photos out of the review: no promise holds, so nothing is 'unlikely'.")
    return found


def _held_out(
    model: TagModel, photos: Mapping[str, Photo]
) -> tuple[list[str], np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Answered photos, their probabilities by models and calibrations that had not seen them, labels."""
    shas = sorted(model.held_out)
    raw, labels, fold = np.array([model.held_out[sha] for sha in shas]).reshape(-1, 3).T
    decks = np.unique([photos[sha].deck if sha in photos else sha for sha in shas], return_inverse=True)[1]
    return shas, held_out_probabilities(raw, labels, fold.astype(np.intp), decks), labels


def _reliability(chance: np.ndarray[Any, Any], labels: np.ndarray[Any, Any]) -> list[dict[str, float]]:
    return [
        {"said": float(chance[bin_].mean()), "was": float(labels[bin_].mean()), "photos": int(len(bin_))}
        for bin_ in equal_mass_bins(chance)
    ]


def _worst(
    shas: Sequence[str],
    chance: np.ndarray[Any, Any],
    labels: np.ndarray[Any, Any],
    photos: Mapping[str, Photo],
) -> list[dict[str, Any]]:
    order = np.argsort(-np.abs(chance - labels), kind="stable")[:WORST]
    return [
        {
            "photo": shas[index],
            "name": photos[shas[index]].path_name if shas[index] in photos else None,
            "label": "present" if labels[index] else "absent",
            "probability": float(chance[index]),
        }
        for index in order
        if abs(chance[index] - labels[index]) >= LIKELY_FROM
    ]


def write_card(library: Library, folder: Path) -> list[Path]:
    """Write `card.md`, `card.json`, a reliability diagram per tag and thumbnails of the worst mistakes.

    Returns the files. Raises BadInput where no model was trained.
    """
    from triage.library.store import write_whole

    card = card_of(library)
    files = {"card.json": json.dumps(card, indent=2, allow_nan=False).encode()}
    for tag, row in card["tags"].items():
        if row.get("reliability_diagram"):
            files[f"reliability-{tag}.svg"] = reliability_svg(row["reliability_diagram"]).encode()
        for mistake in row.get("worst_mistakes", ()):
            files[f"photo-{mistake['photo'][:12]}.jpg"] = _thumbnail(library, mistake["photo"])
    files["card.md"] = markdown(card).encode()
    folder.mkdir(parents=True, exist_ok=True)
    for name, data in files.items():
        write_whole(folder / name, data)
    return [folder / name for name in sorted(files)]


def _thumbnail(library: Library, sha: str) -> bytes:
    from triage.imaging import make_rendition
    from triage.imaging.blackout import blackouts, paint_over
    from triage.imaging.kept import rendition_of

    picture = rendition_of(library, sha).read_bytes()
    return make_rendition(paint_over(picture, blackouts(library).get(sha, ())), 240)
