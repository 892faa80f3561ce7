"""A day's walk as a timeline: boundaries are dragged, stays split, joined and named; each is one act."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from starlette.responses import Response

from triage.errors import BadInput
from triage.ingest import check_visit
from triage.ingest.deck_acts import join, rename, set_visit, split_off
from triage.ingest.questions import open_questions
from triage.ingest.timeline import Day, day_of, days_of, shift
from triage.library import queries
from triage.library.records import Photo
from triage.report.text import count_of
from triage.web.pages.add import files_left_out
from triage.web.request_context import RequestContext

WIDTH, LANE, BAR, MARGIN = 1000.0, 46.0, 26.0, 24.0
PLOT = 260.0
_COLORS = 8


@dataclass(frozen=True)
class Spot:
    """A thing on the drawing: where it is, and what it says."""

    x: float
    y: float
    width: float
    color: str
    deck: str
    words: str
    ticks: tuple[float, ...] = ()


@dataclass(frozen=True)
class Handle:
    """A boundary between two neighboring stays of one phone, to be dragged."""

    x: float
    y: float
    phone: str
    left: str
    right: str


def show(ask: RequestContext) -> Response:
    """Show one day, the latest unless one is named."""
    days = days_of(ask.library)
    wanted = ask.query.get("day") or (days[-1][0] if days else "")
    drawn = _drawn(day_of(ask.library, wanted)) if wanted else {}
    return ask.site.show(
        "timeline.html",
        ask,
        here="decks",
        days=days,
        day=wanted,
        questions=open_questions(ask.library),
        left_out=files_left_out(ask.library),
        back="timeline",
        **drawn,
    )


def _drawn(day: Day) -> dict[str, Any]:
    span = max(day.last_s - day.first_s, 60.0)

    def at(second: float) -> float:
        return round(MARGIN + (second - day.first_s) / span * (WIDTH - 2 * MARGIN), 2)

    color = {deck: f"c{place % _COLORS}" for place, deck in enumerate(day.decks)}
    bars, handles, stays = [], [], []
    for row, lane in enumerate(day.lanes):
        y = row * LANE + 22
        for bar in lane.bars:
            x = at(bar.first_s)
            span_words = f"{_clock(bar.first_s)} to {_clock(bar.last_s)}"
            words = f"{bar.deck}: {count_of(len(bar.photos), 'photo')}, {span_words}"
            ticks = tuple(at(_second(photo)) for photo in bar.photos)
            width = max(at(bar.last_s) - x, 3.0)
            bars.append(Spot(x, y, width, "cw" if bar.waits else color[bar.deck], bar.deck, words, ticks))
            stays.append((bar, lane.phone, _clock(bar.first_s), _clock(bar.last_s)))
        for one, two in zip(lane.bars, lane.bars[1:], strict=False):
            if not one.waits and not two.waits:
                middle = (at(one.last_s) + at(two.first_s)) / 2
                handles.append(Handle(round(middle, 2), y, lane.phone, one.deck, two.deck))
    stays.sort(key=lambda stay: stay[0].first_s)
    return {
        "lanes": [(lane.phone, row * LANE + 16) for row, lane in enumerate(day.lanes)],
        "bars": bars,
        "handles": handles,
        "stays": stays,
        "dots": _plot(day, color),
        "height": len(day.lanes) * LANE + 24,
        "first_s": day.first_s,
        "span_s": span,
        "hours": [
            (at(hour * 3600.0), f"{hour}:00")
            for hour in range(24)
            if day.first_s <= hour * 3600 <= day.last_s
        ],
    }


def _second(photo: Photo) -> float:
    from triage.ingest.timeline import second_of

    return second_of(photo)


def _clock(second: float) -> str:
    return f"{int(second) // 3600}:{int(second) % 3600 // 60:02d}"


def _plot(day: Day, color: dict[str, str]) -> list[Spot]:
    far = max((abs(value) for dot in day.dots for value in (dot.east_m, dot.north_m)), default=0.0)
    scale = (PLOT / 2 - 30) / max(far, 20.0)
    return [
        Spot(
            round(PLOT / 2 + dot.east_m * scale, 1),
            round(PLOT / 2 - dot.north_m * scale, 1),
            0.0,
            color.get(dot.deck, "cw"),
            dot.deck,
            dot.deck,
        )
        for dot in day.dots
    ]


def act(ask: RequestContext) -> Response:
    """Rename, join, split, date a stay, or move the boundary between two."""
    how, deck, day = ask.text("how"), ask.text("deck", 200), ask.text("day", 20)
    if how == "rename":
        done = rename(
            ask.library, deck, ask.take(name=lambda: ask.need("name", "The new name"))["name"], by=ask.by
        )
        told = f"{deck} is now {done.decks[1]}; Undo takes it back."
    elif how == "join":
        other = ask.take(other=lambda: ask.need("other", "The other deck"))["other"]
        done = join(ask.library, deck, other, by=ask.by)
        told = f"{other} was joined to {deck}: {count_of(len(done.photos), 'photo')}; Undo takes it back."
    elif how == "split":
        told = _split(ask, deck)
    elif how == "visit":
        to = ask.take(visit=lambda: check_visit(ask.need("visit", "The day of the visit")))["visit"]
        done = set_visit(ask.library, deck, to, before=check_visit(ask.text("before") or None), by=ask.by)
        told = f"{count_of(len(done.photos), 'photo')} of {deck}: visit of {to}; Undo takes it back."
    elif how == "shift":
        told = _shift(ask, day)
    else:
        raise BadInput("Nothing was chosen.", "Choose one of the acts.")
    return ask.done(ask.url("timeline", day=day) if day else ask.url("timeline"), told)


def _split(ask: RequestContext, deck: str) -> str:
    """Split the stay at a photo: it and the later ones of that stay become another deck."""
    first = queries.find_photo(ask.library, ask.need("first", "The first photo of the new deck"))
    shas = [sha for sha in ask.text("photos", 400_000).split(",") if sha]
    if first.sha not in shas:
        raise BadInput("The photo is not one of this stay.", "Load the page again.")
    later = set(shas[shas.index(first.sha) :])
    photos = [photo for photo in queries.photos(ask.library, deck) if photo.sha in later]
    new = ask.take(name=lambda: ask.need("name", "The new deck's name"))["name"]
    done = split_off(ask.library, deck, photos, new, by=ask.by)
    return f"{count_of(len(done.photos), 'photo')} went from {deck} to {new}; Undo takes it back."


def _shift(ask: RequestContext, day: str) -> str:
    try:
        at_s = float(ask.need("at", "The time of the boundary"))
    except ValueError as error:
        raise BadInput("This is no time of day.", "Drag the boundary again.") from error
    phone, left, right = (ask.need(name, "The boundary") for name in ("phone", "left", "right"))
    count = shift(ask.library, day, phone, left, right, at_s, by=ask.by)
    return f"{count_of(count, 'photo')} moved between {left} and {right}; Undo puts them back."
