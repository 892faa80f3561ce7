"""The model card: what a model was trained on, what it can do, what it must not be used for.

Markdown for people, JSON for scripts, a reliability diagram per tag as SVG; every figure is over decks that
were left out.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from triage.train.calibrate import apply
from triage.train.measures import equal_mass_bins
from triage.train.report import tag_json
from triage.train.types import LIKELY_FROM, TagModel, TooFew

if TYPE_CHECKING:
    from triage.library import Library

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
    "one deck."
)


def card_of(library: Library, tag: str | None = None) -> dict[str, Any]:
    """Return the card of the model in use as plain values, for all tags or one.

    Raises BadInput where no model was trained, or the tag has none.
    """
    from triage.errors import BadInput
    from triage.train.store import load_model

    models = load_model(library.model_dir)
    if tag is not None and tag not in models:
        raise BadInput(f"The model in use knows no tag {tag!r}.", f"It knows: {', '.join(models)}.")
    chosen = {name: one for name, one in models.items() if tag in (None, name)}
    return {
        "model": library.model(),
        "trained_at": library.statements("trained")[-1].at,
        "labels": _labels(library, set(chosen)),
        "likely_from": LIKELY_FROM,
        "promise_words": PROMISE_WORDS,
        "not_for": list(NOT_FOR),
        "tags": {name: _tag(one, library) for name, one in chosen.items()},
    }


def _labels(library: Library, tags: set[str]) -> dict[str, Any]:
    labels = [label for label in library.labels() if label.tag in tags]
    photos = {photo.sha: photo for photo in library.photos()}
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
        "labellers": dict(Counter(label.by for label in labels).most_common()),
        "asked_by": dict(Counter(label.asked_by for label in labels).most_common()),
        "cameras": dict(cameras.most_common()),
        "taken_from": dates[0] if dates else None,
        "taken_to": dates[-1] if dates else None,
        "warnings": warnings,
    }


def _tag(model: TagModel | TooFew, library: Library) -> dict[str, Any]:
    said = tag_json(model)
    if isinstance(model, TooFew):
        return said
    figures = {name: value for name, value in vars(model.figures).items() if name not in said}
    return {
        **said,
        **figures,
        "positive_decks": model.positive_decks,
        "boxed": model.boxed,
        "calibration": model.calibration.kind,
        "shown_as_bands": model.bands,
        "reliability_diagram": _reliability(model),
        "worst_mistakes": _worst(model, library),
    }


def _held_out(model: TagModel) -> tuple[list[str], np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    shas = sorted(model.held_out)
    raw = np.array([model.held_out[sha][0] for sha in shas])
    labels = np.array([model.held_out[sha][1] for sha in shas])
    return shas, np.asarray(apply(model.calibration, raw)), labels


def _reliability(model: TagModel) -> list[dict[str, float]]:
    _, chance, labels = _held_out(model)
    return [
        {"said": float(chance[bin_].mean()), "was": float(labels[bin_].mean()), "photos": int(len(bin_))}
        for bin_ in equal_mass_bins(chance)
    ]


def _worst(model: TagModel, library: Library) -> list[dict[str, Any]]:
    shas, chance, labels = _held_out(model)
    names = {photo.sha: photo.path_name for photo in library.photos()}
    order = np.argsort(-np.abs(chance - labels), kind="stable")[:WORST]
    return [
        {
            "photo": shas[index],
            "name": names.get(shas[index]),
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
    from triage.imaging.kept import rendition_of

    return make_rendition(rendition_of(library, sha).read_bytes(), 240)


def markdown(card: Mapping[str, Any]) -> str:
    """Return the card as Markdown."""
    labels = card["labels"]
    lines = [
        f"# Model {str(card['model'])[:12]}",
        "",
        f"Trained {card['trained_at'][:10]} on {labels['count']} labels of {labels['photos']} photos of "
        f"{labels['decks']} decks; taken {_span(labels)}.",
        f"Labelled by {_counted(labels['labellers'])}; asked by {_counted(labels['asked_by'])}; "
        f"cameras: {_counted(labels['cameras'])}.",
        *labels["warnings"],
        "",
        "## Where it must not be used",
        *[f"- {line}" for line in card["not_for"]],
        "",
        "## What it can do (over decks that were left out)",
        "| tag | present | absent | average precision (95 %) | ROC-AUC | Brier | promise |",
        "| --- | --- | --- | --- | --- | --- | --- |",
        *[_line(tag, row) for tag, row in card["tags"].items()],
        "",
        card["promise_words"],
    ]
    for tag, row in card["tags"].items():
        lines += _section(tag, row)
    return "\n".join(lines) + "\n"


def _span(labels: Mapping[str, Any]) -> str:
    if labels["taken_from"] is None:
        return "at times that no camera stated"
    return f"from {labels['taken_from']} to {labels['taken_to']}"


def _counted(counts: Mapping[str, int]) -> str:
    return ", ".join(f"{_plain(name)} ({count})" for name, count in counts.items()) or "nobody"


def _plain(text: str) -> str:
    return "".join(char for char in text if char.isprintable()).replace("|", "/").replace("<", "(")


def _number(value: float | None) -> str:
    return "no figure" if value is None else f"{value:.3f}"


def _line(tag: str, row: Mapping[str, Any]) -> str:
    precision = _number(row["average_precision"])
    if row["average_precision_low"] is not None:
        precision += f" ({row['average_precision_low']:.3f} to {row['average_precision_high']:.3f})"
    promise = row["promise"]
    said = f"holds at {promise['miss_rate']:.0%}" if promise["holds"] else promise["why_not"]
    return (
        f"| {tag} | {row['present']} | {row['absent']} | {precision} | {_number(row['roc_auc'])} "
        f"| {_number(row['brier'])} | {row['why_not'] or said} |"
    )


def _section(tag: str, row: Mapping[str, Any]) -> list[str]:
    if not row.get("reliability_diagram"):
        return []
    lines = [
        "",
        f"## {tag}",
        f"![reliability](reliability-{tag}.svg)",
        "",
        "Worst mistakes on left-out decks:",
    ]
    for mistake in row["worst_mistakes"]:
        lines.append(
            f"- ![](photo-{mistake['photo'][:12]}.jpg) {_plain(mistake['name'] or mistake['photo'][:12])}: "
            f"labelled {mistake['label']}, the model said {mistake['probability']:.2f}"
        )
    return lines if row["worst_mistakes"] else [*lines, "- none beyond even odds"]


def reliability_svg(bins: list[dict[str, float]], side: int = 240) -> str:
    """Return a reliability diagram: what was said against what was, a dot per bin of equal photos."""
    room, edge = side - 60, 40

    def at(x: float, y: float) -> tuple[float, float]:
        return round(edge + x * room, 1), round(20 + (1 - y) * room, 1)

    x0, y0 = at(0, 0)
    x1, y1 = at(1, 1)
    spots = [at(one["said"], one["was"]) for one in bins]
    dots = "".join(f'<circle cx="{x}" cy="{y}" r="4" fill="#2f4858"/>' for x, y in spots)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{side}" height="{side}" '
        'font-family="sans-serif" font-size="11">'
        f'<rect x="{x0}" y="{y1}" width="{room}" height="{room}" fill="none" stroke="#888"/>'
        f'<line x1="{x0}" y1="{y0}" x2="{x1}" y2="{y1}" stroke="#888" stroke-dasharray="3 3"/>{dots}'
        f'<text x="{x0}" y="{y0 + 14}">0</text><text x="{x1 - 6}" y="{y0 + 14}">1</text>'
        f'<text x="{(x0 + x1) / 2}" y="{y0 + 26}" text-anchor="middle">probability said</text>'
        f'<text x="14" y="{(y0 + y1) / 2}" transform="rotate(-90 14 {(y0 + y1) / 2})" text-anchor="middle">'
        "share that was present</text></svg>"
    )
