"""The model card as Markdown, and its reliability diagram."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from triage.train.measures import LEAST_DECKS
from triage.train.report import interval_words


def markdown(card: Mapping[str, Any]) -> str:
    """Return the card as Markdown."""
    labels = card["labels"]
    lines = [
        f"# Model {str(card['model'])[:12]}",
        "",
        f"Trained {card['trained_at'][:10]} on {labels['count']} labels of {labels['photos']} photos of "
        f"{labels['decks']} decks; taken {_span(labels)}.",
        f"Labeled by {_counted(labels['labellers'])}; asked by {_counted(labels['asked_by'])}; "
        f"cameras: {_counted(labels['cameras'])}.",
        *labels["warnings"],
        *_alike(card["tags"]),
        f"Data {str(card['data'])[:12]}; " + ", ".join(f"{n} {v}" for n, v in card["versions"].items()) + ".",
        "",
        "## Where it must not be used",
        *[f"- {line}" for line in card["not_for"]],
        "",
        "## What it can do (over decks that were left out)",
        "| tag | present | absent | decks with it | average precision | ROC-AUC | Brier (each with 95 %) |",
        "| --- | --- | --- | --- | --- | --- | --- |",
        *[_line(tag, row) for tag, row in card["tags"].items()],
        "",
        f"Intervals by bootstrap over decks, none below {LEAST_DECKS} decks with it. A photo is `likely` "
        f"from a probability of {card['likely_from']:g} on.",
        "",
        "## What is promised",
        *[f"- {tag}: {_promised(row)}" for tag, row in card["tags"].items()],
        "",
        card["promise_words"],
    ]
    for tag, row in card["tags"].items():
        lines += _section(tag, row)
    return "\n".join(lines) + "\n"


def _alike(tags: Mapping[str, Any]) -> list[str]:
    """Which decks were taken as one, because they share look-alike photos."""
    groups = sorted({tuple(decks) for row in tags.values() for decks in row.get("look_alike_decks", ())})
    return [
        f"One deck in every figure, because they share look-alike photos: {', '.join(map(_plain, one))}."
        for one in groups
    ]


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


def _with_interval(row: Mapping[str, Any], name: str) -> str:
    words = interval_words(row[name], row.get(f"{name}_low"), row.get(f"{name}_high"), 3)
    return f"{_number(row[name])} {words}".rstrip()


def _line(tag: str, row: Mapping[str, Any]) -> str:
    if row["why_not"]:
        return f"| {tag} | {row['present']} | {row['absent']} | | no model: {row['why_not']} | | |"
    figures = " | ".join(_with_interval(row, name) for name in ("average_precision", "roc_auc", "brier"))
    return f"| {tag} | {row['present']} | {row['absent']} | {row['positive_decks']} | {figures} |"


def _promised(row: Mapping[str, Any]) -> str:
    promise = row["promise"]
    if not promise["holds"]:
        return f"nothing. {promise['why_not']}"
    spared = promise["spared"]
    decks = promise["eligible_positive_decks"]
    said = (
        f"misses at most {promise['miss_rate']:.0%} on average, from {decks} decks; a photo may be `unlikely`"
    )
    said += f" where the largest leave-one-out score is below {promise['threshold']:.3f}"
    said += "." if spared is None else f"; about {spared:.0%} of the photos without it are spared."
    if row["unclear"]:
        said += (
            f" {row['unclear']} photos were answered 'unclear': the promise says nothing of those, so of "
            "faint defects more may be missed."
        )
    return said


def _calibrated(row: Mapping[str, Any]) -> str:
    bins = len(row["reliability_diagram"])
    return (
        f"Calibration: {row['calibration']}{', shown as bands' if row['shown_as_bands'] else ''}. "
        f"Brier score in {bins} bins of equal mass: reliability {row['reliability']:.4f} - resolution "
        f"{row['resolution']:.4f} + uncertainty {row['uncertainty']:.4f}. Expected calibration error "
        f"{row['calibration_error']:.3f}."
    )


def _section(tag: str, row: Mapping[str, Any]) -> list[str]:
    if not row.get("reliability_diagram"):
        return []
    lines = [
        "",
        f"## {tag}",
        f"Labeled by {_counted(row['labellers'])}; cameras: {_counted(row['cameras'])}; taken {_span(row)}. "
        f"{row['unclear']} unclear; {row['boxed']} of {row['present']} with a place.",
        f"Average precision: whole photo alone {_number(row['whole_average_precision'])}, cells alone "
        f"{_number(row['cell_average_precision'])}, together {_number(row['average_precision'])}.",
        "",
        f"Rank: {row['known']['order']}",
        f"Probability: {row['known']['level']}",
        "",
        *[f"- {line}" for line in row["not_for"]],
        "",
        f"![what was said against what was](reliability-{tag}.svg)",
        "",
        _calibrated(row),
        "",
        "| probability from | photos | precision | recall |",
        "| --- | --- | --- | --- |",
        *[
            f"| {one['threshold']:g} | {one['flagged']} of {one['of']} | {_number(one['precision'])} "
            f"| {_number(one['recall'])} |"
            for one in row["operating_points"]
        ],
        "",
        "Worst mistakes on left-out decks:",
        "",
    ]
    for mistake in row["worst_mistakes"]:
        lines.append(
            f"- ![](photo-{mistake['photo'][:12]}.jpg) {_plain(mistake['name'] or mistake['photo'][:12])}: "
            f"labeled {mistake['label']}, the model said {mistake['probability']:.2f}"
        )
    return lines if row["worst_mistakes"] else [*lines, "- none beyond even odds"]


def reliability_svg(bins: list[dict[str, float]], side: int = 240) -> str:
    """Return a reliability diagram: what was said against what was, a dot per bin of equal photos."""
    room, edge = side - 60, 40

    def at(x: float, y: float) -> tuple[float, float]:
        return round(edge + x * room, 1), round(20 + (1 - y) * room, 1)

    x0, y0 = at(0, 0)
    x1, y1 = at(1, 1)
    spots = [(*at(one["said"], one["was"]), one) for one in bins]
    dots = "".join(
        f'<circle cx="{x}" cy="{y}" r="4" fill="#2f4858" fill-opacity="0.6">'
        f"<title>said {one['said']:.2f}, was {one['was']:.2f}, {one['photos']:.0f} photos</title></circle>"
        for x, y, one in spots
    )
    photos = sum(one["photos"] for one in bins)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{side}" height="{side}" '
        'font-family="sans-serif" font-size="11">'
        f'<rect x="{x0}" y="{y1}" width="{room}" height="{room}" fill="none" stroke="#888"/>'
        f'<line x1="{x0}" y1="{y0}" x2="{x1}" y2="{y1}" stroke="#888" stroke-dasharray="3 3"/>{dots}'
        f'<text x="{x0}" y="{y1 - 6}">{photos:.0f} photos in {len(bins)} bins</text>'
        f'<text x="{x0}" y="{y0 + 14}">0</text><text x="{x1 - 6}" y="{y0 + 14}">1</text>'
        f'<text x="{x0 - 10}" y="{y1 + 8}">1</text>'
        f'<text x="{(x0 + x1) / 2}" y="{y0 + 26}" text-anchor="middle">probability said</text>'
        f'<text x="14" y="{(y0 + y1) / 2}" transform="rotate(-90 14 {(y0 + y1) / 2})" text-anchor="middle">'
        "share that was present</text></svg>"
    )
