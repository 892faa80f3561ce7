"""What the model can do, in figures and in plain words; and what would most change the order of decks."""

from __future__ import annotations

from typing import Any

from markupsafe import Markup
from starlette.responses import Response

from triage.domain.vocabulary import SHOWS
from triage.errors import TriageError
from triage.library import queries
from triage.library.counts import pile_counts_by_tag
from triage.report.phrases import tag_words
from triage.web.request_context import RequestContext

MARKED = (
    "On published photo sets with small defects, labels with a marked place doubled to tripled the average "
    "precision of the same labels without one; no larger network came near."
)
_LOOKS = 15
_A_SHEET = 200
_LOOKS_WAIT_S = 1.2


def show(ask: RequestContext) -> Response:
    """Show the model card with precision and recall at thresholds, reliability, the promise and mistakes."""
    library = ask.library
    without: dict[str, Any] = {"here": "model", "card": None, "tags": [], "marked": MARKED}
    if queries.model_in_use(library) is None:
        return ask.site.show("model.html", ask, fault="", **without)
    from triage.presort.of_library import load_models, promise_standing
    from triage.train.card import card_of
    from triage.train.report import interval_words

    try:
        card, models, standing = card_of(library), load_models(library), promise_standing(library)
    except TriageError as error:
        return ask.site.show("model.html", ask, fault=str(error), **without)
    piles = pile_counts_by_tag(library)
    photos = {photo.sha for photo in queries.photos(library)}
    tags = [
        {
            "tag": tag,
            "words": tag_words(tag),
            "row": row,
            "piles": piles.get(tag, {}),
            "promise": _promise(row, standing.get(tag)),
            "points": _points(models[tag]),
            "diagram": _diagram(row),
            "curve": _curve(models[tag]),
            "mark": _mark(row, standing.get(tag)),
            "interval": interval_words(*(row[f"average_precision{edge}"] for edge in ("", "_low", "_high"))),
            "mistakes": [one for one in row.get("worst_mistakes", ()) if one["photo"] in photos],
        }
        for tag, row in card["tags"].items()
    ]
    tags.sort(key=lambda one: str(one["tag"]).startswith(SHOWS))  # what is wrong first, then the parts
    return ask.site.show(
        "model.html", ask, here="model", card=card, fault="", tags=tags, marked=MARKED, marks=MARKS
    )


def _points(model: Any) -> list[dict[str, Any]]:
    from triage.train.operating import operating_points
    from triage.train.types import TagModel

    return operating_points(model) if isinstance(model, TagModel) else []


MARKS = {
    "holds": ("●", "a promise holds"),
    "withdrawn": ("✕", "the promise is withdrawn"),
    "none": ("○", "no promise: look at every photo"),
    "no-model": ("–", "no model: too few labels"),
}


def _mark(row: dict[str, Any], standing: Any) -> str:
    """Return what may be relied on for a tag, as a key of `MARKS`."""
    if row["why_not"]:
        return "no-model"
    if standing is not None and standing.standing == "withdrawn":
        return "withdrawn"
    return "holds" if row["promise"]["holds"] else "none"


_CURVE = (260, 170)
_PAD = 28


def _curve(model: Any) -> Markup:
    """Return precision and recall against the share of photos looked at, as a drawing; numbers only."""
    points = [one for one in _points(model) if one["of"]]
    if len(points) < 2:
        return Markup("")
    width, height = _CURVE

    def at(point: dict[str, Any], value: float) -> str:
        share = point["flagged"] / point["of"]
        return f"{_PAD + share * (width - _PAD - 8):.1f},{height - _PAD - value * (height - _PAD - 8):.1f}"

    lines = []
    for key, look in (
        ("precision", 'stroke="#8c1d18"'),
        ("recall", 'stroke="#2f5a68" stroke-dasharray="5 3"'),
    ):
        told = [at(one, one[key]) for one in points if one[key] is not None]
        lines.append(f'<polyline points="{" ".join(told)}" fill="none" stroke-width="2" {look}/>')
    frame = f"M{_PAD} 8V{height - _PAD}H{width - 8}"
    words = (
        f'<text x="{_PAD}" y="{height - 8}" font-size="11">none</text>'
        f'<text x="{width - 8}" y="{height - 8}" font-size="11" text-anchor="end">all photos looked at</text>'
        f'<text x="{_PAD - 4}" y="16" font-size="11" text-anchor="end">1</text>'
        f'<text x="{_PAD - 4}" y="{height - _PAD}" font-size="11" text-anchor="end">0</text>'
    )
    return Markup(  # noqa: S704 - numbers only
        f'<svg viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img" '
        f'aria-label="Precision and recall against the share of photos looked at">'
        f'<path d="{frame}" fill="none" stroke="#566066"/>{"".join(lines)}{words}</svg>'
    )


def unlikely(ask: RequestContext) -> Response:
    """Show the photos that the model calls unlikely to show a tag, as a contact sheet to look through."""
    library = ask.library
    tag = library.vocabulary().tag(ask.query.get("tag", "")).tag
    piled = [
        one.photo
        for one in queries.suggestions(library, tag=tag, model=queries.model_in_use(library)).values()
        if one.pile == "unlikely"
    ]
    photos = {photo.sha: photo for photo in queries.photos(library)}
    here = sorted((photos[sha] for sha in piled if sha in photos), key=lambda one: (one.deck, one.name))
    page = max(1, int(ask.query["page"])) if ask.query.get("page", "").isdigit() else 1
    pages = max(1, -(-len(here) // _A_SHEET))
    page = min(page, pages)
    shown = here[(page - 1) * _A_SHEET : page * _A_SHEET]
    return ask.site.show(
        "unlikely.html",
        ask,
        here="model",
        tag=tag,
        words=tag_words(tag),
        photos=shown,
        count=len(here),
        page=page,
        pages=pages,
    )


def _diagram(row: dict[str, Any]) -> Markup:
    """Return the reliability diagram: it is made of numbers only, so it goes into the page as it is."""
    from triage.train.card import reliability_svg

    bins = row.get("reliability_diagram")
    return Markup(reliability_svg(bins)) if bins else Markup("")  # noqa: S704 - numbers only, see above


def _promise(row: dict[str, Any], standing: Any) -> str:
    """Return what may be relied on for one tag, in plain words."""
    said = row["promise"]
    share = f"{said['miss_rate']:.0%}"
    if standing is not None and standing.standing == "withdrawn":
        return f"Withdrawn: {standing.why_not}. Nothing is put in 'unlikely'."
    if said["holds"]:
        return (
            f"On average over decks that have it, at most {share} of the photos that show it land in "
            "'unlikely'. That is an average: at one deck it can be more, so look through those photos too."
        )
    return f"Nothing is promised, so every photo is still to be looked at. Missing: {said['why_not']}"


def following(ask: RequestContext) -> Response:
    """Show what to find out next: the labels, facts and photos that would most change the order."""
    standing = ask.site.standing(ask.name)
    done = standing.warmed(_LOOKS_WAIT_S)
    looks = standing.looks.best(_LOOKS)
    behind = 0 if done else standing.looks.behind()
    return ask.site.show("next.html", ask, here="decks", looks=looks, behind=behind)
