"""The datasheet of an export, in Markdown.

Its questions follow T. Gebru et al., Datasheets for Datasets, Communications of the ACM 64 (2021) 86-92. What
the library cannot know is written as unknown, never made up.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from pathlib import Path

from triage.audit.agreeing import Agreement
from triage.domain.tiers import CAUTION, VALUES
from triage.exchange.content import Content
from triage.label.files import write_whole

UNKNOWN = "The library does not know; the owner must say."


def write_datasheet(
    content: Content, folder: Path, agreement: dict[str, Agreement] | str, pictures: str, day: str
) -> Path:
    """Write `datasheet.md`. `agreement` is what the audit found, or the sentence why nothing can be said."""
    path = folder / "datasheet.md"
    write_whole(path, datasheet(content, agreement, pictures, day).encode())
    return path


def datasheet(content: Content, agreement: dict[str, Agreement] | str, pictures: str, day: str) -> str:
    """Return the datasheet's text."""
    parts = [
        "# Datasheet: photos of wood decks with people's labels\n",
        f"Exported by deck-triage on {day} from the library `{content.library_id}`.\n",
        "## Motivation\n",
        "Labels for sorting photos of existing residential wood decks by visible defects. Who paid for it, "
        f"and for what else it was made: {UNKNOWN}\n",
        "## Composition\n",
        *_composition(content),
        "## Collection\n",
        *_collection(content),
        "## Labeling\n",
        *_labeling(content, agreement),
        "## Cleaning\n",
        *_cleaning(content, pictures),
        "## Uses\n",
        CAUTION + "\n",
        "An absent defect in a photo says nothing about the deck, and nothing about parts that no photo "
        "shows. Do not use these labels to call a deck safe.\n",
        "## Distribution and upkeep\n",
        f"License: {UNKNOWN} Later exports of the same library carry the same identifier; the log heads "
        "below say how far this one goes.\n",
        _table(
            ("log", "events", "hash of the last"),
            [(log[:12], str(head["seq"]), f"`{head['hash']}`") for log, head in content.head.items()],
        ),
    ]
    return "\n".join(parts)


def _composition(content: Content) -> list[str]:
    photos = Counter(photo.deck for photo in content.photos)
    visits = {(photo.deck, photo.visit) for photo in content.photos}
    counts = Counter((word.tag, word.value) for word in content.words.values())
    disputed = Counter(word.tag for word in content.words.values() if word.disputed)
    rows = [
        (tag, *(str(counts[tag, value]) for value in VALUES), str(disputed[tag]), one.kind, one.definition)
        for tag, one in content.tags.items()
        if any(counts[tag, value] for value in VALUES)
    ]
    sizes = sorted(photos.values())
    spread = f"{sizes[0]} to {sizes[-1]} photos a deck" if sizes else "none"
    said = [
        f"{len(content.photos)} photos of {len(photos)} decks at {len(visits)} visits ({spread}). Labels "
        "combined, one row per photo and tag; while people disagree the worse one counts:\n",
        _table(("tag", *VALUES, "disputed", "kind", "definition"), rows),
    ]
    if content.splits is not None:
        said += _splits(content)
    return said


def _splits(content: Content) -> list[str]:
    splits = content.splits
    if splits is None:
        return []
    decks = Counter(splits.of.values())
    photos = Counter(content.split_of(photo) for photo in content.photos)
    shares = ", ".join(f"{share:g}" for share in splits.shares)
    return [
        f"Split by deck: no deck is in two parts. Shares {shares}, seed `{splits.seed}`; decks are "
        "dealt out in the order of the SHA-256 of `SEED:DECK`.\n",
        _table(
            ("part", "decks", "photos"),
            [(name, str(decks[name]), str(photos[name])) for name in splits.names],
        ),
    ]


def _collection(content: Content) -> list[str]:
    cameras = Counter(photo.camera or "unknown" for photo in content.photos)
    dates = sorted(photo.taken_at[:10] for photo in content.photos if photo.taken_at)
    when = f"from {dates[0]} to {dates[-1]}" if dates else "at unknown times"
    undated = len(content.photos) - len(dates)
    named = ", ".join(f"{_cell(name)} ({count})" for name, count in sorted(cameras.items()))
    return [
        f"Taken {when} by the camera's clock; {undated} photos have no time. Cameras: {named or 'none'}.\n",
        f"How the decks were chosen, and whether their owners agreed: {UNKNOWN}\n",
    ]


def _labeling(content: Content, agreement: dict[str, Agreement] | str) -> list[str]:
    people = Counter(label.by for label in content.labels)
    asked = Counter(label.asked_by for label in content.labels)
    saw = sum(label.saw_machine for label in content.labels)
    boxed = sum(bool(label.boxes) for label in content.labels)
    said = [
        f"{len(content.labels)} labels by {len(people)} people; {boxed} with a place in the photo, {saw} "
        "given after seeing the machine's word. How photos came to be asked:\n",
        _table(("asked by", "labels"), [(name, str(count)) for name, count in sorted(asked.items())]),
    ]
    if isinstance(agreement, str):
        return [*said, f"Agreement between people: {agreement}\n"]
    rows = [
        (
            tag,
            str(one.photos),
            _figure(one.observed),
            _figure(one.kappa),
            _figure(one.alpha),
            f"{_figure(one.low)} to {_figure(one.high)}",
        )
        for tag, one in agreement.items()
        if one.photos
    ]
    return [
        *said,
        "Agreement on photos that two or more people labeled (kappa: Cohen, two people; alpha: "
        "Krippendorff, nominal; interval over decks):\n",
        _table(("tag", "photos", "observed", "kappa", "alpha", "95 %"), rows),
    ]


def _cleaning(content: Content, pictures: str) -> list[str]:
    position = (
        f"Positions of {len(content.positions)} photos are included, as was asked for."
        if content.positions
        else "Positions were left out."
    )
    people = "People are pseudonyms, and notes were left out." if content.pseudonyms else "People are named."
    return [f"{position} Serial numbers and owners' names were left out. {people} {pictures}\n"]


def _figure(value: float | None) -> str:
    return "-" if value is None else f"{value:.3f}"


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = ["| " + " | ".join(heads) + " |", "| " + " | ".join("---" for _ in heads) + " |"]
    lines += ["| " + " | ".join(_cell(cell) for cell in row) + " |" for row in rows]
    return "\n".join(lines) + "\n"


def _cell(text: str) -> str:
    """Return a text that stays inside its cell and is not read as markup."""
    kept = "".join(char if ord(char) >= 32 else " " for char in text)
    return kept.replace("\\", "\\\\").replace("|", "\\|").replace("<", "&lt;")
