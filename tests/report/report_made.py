"""Hand-made decks for the tests of the report: every name, place and person is invented."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from PIL import Image, ImageDraw

from triage.assess.records import Concern, DeckSummary, Seen
from triage.domain.vocabulary import load_vocabulary
from triage.library.records import Closing, Fact, Finding, Label, Photo, Warned
from triage.report.source import DeckRecord, Source


@dataclass(frozen=True)
class MadeCheck:
    """A check's result by the contract."""

    check: str
    kind: str
    demand: float | None
    capacity: float | None
    ratio: float | None
    unit: str
    verdict: str
    missing: tuple[str, ...]
    why: str
    source: str

    def to_json(self) -> dict[str, Any]:
        return {**self.__dict__, "missing": list(self.missing)}


def sha(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def photo(deck: str, name: str, taken_at: str | None = "2026-05-03T10:22:31") -> Photo:
    return Photo(sha(f"{deck}/{name}"), deck, "2026-05-03", name, 800, 600, 1, 1000, taken_at, None)


def concern(**changes: Any) -> Concern:
    base: dict[str, Any] = {
        "rule": "hanger-missing",
        "tag": "missing-hanger",
        "kind": "hazard",
        "standing": "seen-by-person",
        "status": "new",
        "tier": "repair-before-use",
        "photos": (),
        "place": None,
        "count": None,
        "concluded": "A joist hangs without a hanger.",
        "why": "The joist end can drop off the ledger.",
        "repair": "Fit a hanger with all its fasteners.",
        "verify_on_site": "Look at both ends of the joist.",
        "call": "contractor",
        "source": "IRC 2021 R507.7",
        "boxes": {},
        "element": "hanger",
    }
    return Concern(**{**base, **changes})


def summary(deck: str, *concerns: Concern, **changes: Any) -> DeckSummary:
    base: dict[str, Any] = {
        "deck": deck,
        "visit": "2026-05-03",
        "tier": "nothing-seen",
        "tier_if_true": "nothing-seen",
        "tier_by_person": None,
        "gaps": "none",
        "concerns": concerns,
        "coverage": (),
        "go_back_for": (),
        "unreviewed": 0,
        "reason": "No concern was raised.",
    }
    return DeckSummary(**{**base, **changes})


def fact(deck: str, key: str, value: Any) -> Fact:
    return Fact(deck, "2026-05-03", key, value, "Ada Sample", "2026-05-03T12:00:00+00:00")


FACTS = {
    "deck_width_ft": 18.0,
    "deck_depth_ft": 12.0,
    "joist_spacing_in": 16,
    "joist_count": 14,
    "joist_span_ft": 10.5,
    "height_above_grade_ft": 8.0,
    "post_count": 3,
    "ledger_fastener_spacing_in": 16,
    "ledger_fasteners_per_group": 2,
    "has_guard": True,
    "has_stairs": True,
}


def busy_deck(deck: str = "birch-03") -> tuple[DeckSummary, DeckRecord]:
    """Return a deck with something in every part of the report."""
    shots = tuple(photo(deck, f"phone-a/IMG_{number:04d}.jpg") for number in range(1, 7))
    one, two, three = (shot.sha for shot in shots[:3])
    concerns = (
        concern(
            tier="stop-use",
            rule="ledger-nails",
            tag="nail-only-ledger",
            element="ledger",
            photos=(one, two),
            concluded="The ledger hangs on nails.",
            repair="Fasten the ledger with bolts by the table.",
            boxes={one: ((0.2, 0.3, 0.3, 0.1),)},
            standing="seen-by-person",
            call="engineer",
        ),
        concern(
            photos=(two, three),
            place="joist 4 of 14 from the left, facing the house, house side",
            count=2,
            boxes={two: ((0.5, 0.5, 0.0, 0.0),)},
            standing="disputed",
            status="still-there",
        ),
        concern(
            rule="flashing-debris",
            tag="debris-at-flashing",
            element="flashing",
            tier="watch",
            concluded="Debris lies on the flashing.",
            repair="Clear the debris.",
            photos=(three,),
        ),
        concern(
            rule="beam-check",
            tag=None,
            element="beam",
            kind="departs-from-today",
            tier="watch",
            standing="calculated",
            concluded="The beam is longer than today's table allows.",
        ),
        concern(
            rule="post-rot",
            tag=None,
            element="post",
            status="repaired",
            tier="repair-this-season",
            place="post 2 of 3 from the left",
            concluded="A post was soft.",
        ),
    )
    check = MadeCheck(
        "beam-span",
        "departs-from-today",
        9.5,
        8.0,
        1.1875,
        "ft",
        "over",
        (),
        "Longer than the table allows.",
        "IRC 2021 Table R507.5(1)",
    )
    made = summary(
        deck,
        *concerns,
        tier="stop-use",
        tier_if_true="stop-use",
        gaps="serious",
        unreviewed=3,
        reason="Nails alone hold the ledger.",
        checks=(check,),
        coverage=(
            Seen("ledger", "well", (one, two), 2, None, ""),
            Seen("hanger", "poorly", (two,), 6, 14, ""),
            Seen("flashing", "concealed", (), None, None, "behind the siding"),
            Seen("beam", "not-seen", (), None, None, "no photo shows it"),
        ),
        go_back_for=("The beam: one photo of each bearing.",),
        open_up=("The flashing behind the siding.",),
    )
    at = "2026-05-04T08:00:00+00:00"
    labels = tuple(
        Label(shot.sha, "missing-hanger", "present" if shot.sha == two else "absent", "Ada Sample", at)
        for shot in shots
    )
    record = DeckRecord(
        photos=shots,
        labels=labels,
        facts={key: fact(deck, key, value) for key, value in FACTS.items()},
        findings=(Finding("f1", deck, "2026-05-03", "watch", "The deck bounces.", "Ben Sample", at),),
        closings=(Closing(deck, "post-rot", "post 2 of 3", one, three, "Post replaced.", "Ben Sample", at),),
        warnings=(Warned(deck, "the owner", "by telephone", "2026-05-03T18:00:00", "Ada Sample", at),),
        private={"address": "1 Invented Way", "client": "Client One"},
    )
    return made, record


class PaintedPhotos:
    """Small painted pictures in place of photos; those named `gone` cannot be read."""

    def __init__(self, gone: frozenset[str] = frozenset()) -> None:
        self._gone = gone

    def jpeg(self, name: str) -> bytes:
        if name in self._gone:
            raise OSError("gone")
        number = int(name[:6], 16)
        image = Image.new(
            "RGB", (640, 480), (90 + number % 90, 110 + number // 7 % 90, 100 + number // 91 % 90)
        )
        draw = ImageDraw.Draw(image)
        for row in range(0, 480, 24):
            draw.line([(0, row), (640, row)], fill=(60, 60, 60))
        out = io.BytesIO()
        image.save(out, "JPEG", exif=_exif())
        return out.getvalue()


def _exif() -> Image.Exif:
    exif = Image.Exif()
    exif[0x010F] = "SECRETMAKER"
    exif[0x0132] = "2026:05:03 10:22:31"
    return exif


@dataclass
class Made:
    """A source and its summaries."""

    summaries: list[DeckSummary]
    records: Mapping[str, DeckRecord]
    provider: PaintedPhotos = field(default_factory=PaintedPhotos)

    @property
    def source(self) -> Source:
        vocabulary = load_vocabulary()
        return Source(
            library_id="0" * 32,
            head={"0" * 32: {"seq": 42, "hash": "ab" * 32}},
            decks=self.records,
            provider=self.provider,
            versions={"deck-triage": "0.1.0", "rule book": "cd" * 32, "model": "none"},
            definitions={name: tag.definition for name, tag in vocabulary.tags.items()},
            element_of={name: tag.element for name, tag in vocabulary.tags.items() if tag.element},
        )


def made(*pairs: tuple[DeckSummary, DeckRecord]) -> Made:
    return Made([one for one, _ in pairs], {one.deck: record for one, record in pairs})
