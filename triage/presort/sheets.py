"""Contact sheets of what the machine proposes for a tag: all yes, all doubtful, all no; one act confirms.

A person confirms what stands on the sheet, photo by photo where it differs. The laws:

- No answer for a photo that was not shown: every photo that is answered must be among those seen, at the size
  from which its tag can be judged (`domain.seeing`).
- A doubtful photo has no default: without a click it stays open.
- 'present' of a defect is never confirmed on a sheet: that photo is looked at by itself.
- 'absent' of a defect is confirmed on a sheet only while its promise holds, and only for the pile `unlikely`.
- What a sheet answers was seen with the machine's word, so no promise counts it, and nothing follows from it:
  a confirmed 'no ledger here' does not answer 'nail-only ledger'.
- Nobody's word is replaced: photos that somebody answered are not on the sheet.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from triage.batching import lots
from triage.domain.reviewing import ANSWERS, HOLDS, UNLIKELY
from triage.domain.seeing import least_px
from triage.domain.vocabulary import SHOWS
from triage.errors import BadInput
from triage.label.pool_draws import begin_pools
from triage.label.rows import give_labels
from triage.library import queries
from triage.library.records import SHEET
from triage.train.types import LIKELY_FROM

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.records import Label, Photo, Suggestion

YES, DOUBTFUL, NO = "yes", "doubtful", "no"
GROUPS = (YES, DOUBTFUL, NO)
A_HEAP = 60
"""Photos on one contact sheet across decks (our choice: what can be looked through in one go)."""
NO_BELOW = 0.1
"""A photo is proposed as 'no' for a part below this probability (our choice: one in ten is left in doubt)."""
_LOT = 100
_PROPOSED = {YES: "present", NO: "absent"}


@dataclass(frozen=True)
class Sheet:
    """One tag's sheet: photos by group, the likeliest first.

    Attributes
    ----------
    tag : the tag.
    model : hash of the model that proposes.
    groups : `yes`, `doubtful` and `no` to photos.
    least : long side in pixels of the screen from which on the tag can be judged.
    why_not : one sentence where nothing is proposed as 'no', else empty.
    """

    tag: str
    model: str
    groups: Mapping[str, tuple[Photo, ...]]
    least: int
    why_not: str = ""

    @property
    def photos(self) -> tuple[Photo, ...]:
        """All photos, in the order of the sheet."""
        return tuple(photo for group in GROUPS for photo in self.groups[group])

    def proposed(self) -> dict[str, str]:
        """Return what the sheet answers where nobody clicks, by photo; doubtful ones are not in it."""
        return {photo.sha: value for group, value in _PROPOSED.items() for photo in self.groups[group]}


def next_heap(
    library: Library,
    tag: str,
    decks: Sequence[str] | None = None,
    *,
    without: Collection[str] = (),
    asked: Callable[[str], bool] = lambda deck: True,
) -> Sheet | None:
    """Return the next contact sheet of one tag across decks: the first `A_HEAP` open photos, in deck order.

    Returns null where the machine proposes nothing that is open.

    Parameters
    ----------
    decks : only of these; null for all.
    without : photos that stay open, such as doubtful ones that were on a sheet before.
    asked : whether a deck is asked for the tag at all.
    """
    rows: list[tuple[Suggestion, Photo]] = []
    for deck, _ in counted(library, [tag], decks):
        if len(rows) >= A_HEAP:
            break
        if asked(deck):
            rows += [row for row in open_rows(library, deck, tag) if row[1].sha not in without]
    return _sheet(library, tag, rows[:A_HEAP]) if rows else None


def counted(
    library: Library, tags: Sequence[str], decks: Sequence[str] | None = None
) -> Iterator[tuple[str, dict[str, int]]]:
    """Yield decks, in order, with how many photos of each tag wait: the machine spoke, nobody answered."""
    model = queries.model_in_use(library) or ""
    for lot in lots(queries.decks(library) if decks is None else decks, _LOT):
        found: dict[str, dict[str, int]] = {}
        for deck, tag, photos in queries.open_by_deck(library, model, tags, lot):
            found.setdefault(deck, {})[tag] = photos
        yield from found.items()


def open_rows(library: Library, deck: str, tag: str) -> list[tuple[Suggestion, Photo]]:
    """Return what the machine proposes for a tag at a deck, for photos that nobody has answered for it."""
    said = queries.suggestions(library, deck=deck, tag=tag)
    if not said:
        return []
    words = queries.words(library, deck=deck, tag=tag)
    return [
        (said[photo.sha, tag], photo)
        for photo in queries.photos(library, deck)
        if (photo.sha, tag) in said and (photo.sha, tag) not in words
    ]


def sheet_of(
    library: Library, decks: Sequence[str], tag: str, *, only: Collection[str] | None = None
) -> Sheet:
    """Return the sheet of one tag over the photos of some decks that nobody has answered for it.

    `only` names photos where not all of these decks are meant.
    Raises BadInput for an unknown tag or deck, and where the machine has said nothing.
    """
    library.vocabulary().tag(tag)
    rows: list[tuple[Suggestion, Photo]] = []
    for deck in decks:
        if not queries.is_deck(library, deck):
            raise BadInput(f"There is no deck {deck!r}.", "List the decks with: deck-triage decks")
        rows += [row for row in open_rows(library, deck, tag) if only is None or row[1].sha in only]
    if not rows and not any(queries.suggestions(library, deck=deck, tag=tag) for deck in decks):
        raise BadInput("The machine has proposed nothing here.", "Run: deck-triage train, then presort")
    return _sheet(library, tag, rows)


def _sheet(library: Library, tag: str, rows: Sequence[tuple[Suggestion, Photo]]) -> Sheet:
    holds, why_not = _may_say_no(library, tag)
    rows = sorted(rows, key=lambda row: (-row[0].probability, row[1].path_name))
    groups = {name: tuple(photo for one, photo in rows if group_of(one, holds) == name) for name in GROUPS}
    return Sheet(tag, queries.model_in_use(library) or "", groups, least_px(tag), why_not)


def group_of(one: Suggestion, promised: bool) -> str:
    """Return where a photo stands on the sheet; `promised` says whether its defect's promise holds."""
    if one.tag.startswith(SHOWS):
        return YES if one.probability >= LIKELY_FROM else NO if one.probability < NO_BELOW else DOUBTFUL
    return NO if promised and one.pile == UNLIKELY else DOUBTFUL


def _may_say_no(library: Library, tag: str) -> tuple[bool, str]:
    """Return whether 'absent' may be confirmed on a sheet, and why not."""
    if tag.startswith(SHOWS):
        return True, ""
    from triage.presort.of_library import promise_standing  # loads what models need; parts need none of it

    standing = promise_standing(library).get(tag)
    if standing is not None and standing.standing == HOLDS:
        return True, ""
    return False, "No promise holds for this defect, so each photo is looked at by itself."


def confirm(
    library: Library,
    sheet: Sheet,
    *,
    by: str,
    seen: Mapping[str, int],
    clicked: Mapping[str, str] | None = None,
    opened: Collection[str] = (),
) -> list[Label]:
    """Confirm a sheet in one act; returns the labels as stored.

    Parameters
    ----------
    seen : photo to the long side in pixels at which it was shown; the others are not answered.
    clicked : exceptions, and answers to doubtful photos, by photo.
    opened : photos that were looked at by themselves.

    Raises
    ------
    BadInput : the proposals changed meanwhile, nothing is left to answer, or a click breaks a law above.
    """
    decks = sorted({photo.deck for photo in sheet.photos})
    now = sheet_of(library, decks, sheet.tag, only={photo.sha for photo in sheet.photos})
    known = {photo.sha: photo for photo in now.photos}
    groups = {photo.sha: group for group in GROUPS for photo in now.groups[group]}
    if now.model != sheet.model or {photo.sha for photo in sheet.photos} - known.keys():
        raise BadInput("The photos or proposals changed meanwhile.", "Load the sheet again.")
    clicks = dict(clicked or {})
    if set(clicks) - {photo.sha for photo in sheet.photos} or set(clicks.values()) - set(ANSWERS):
        raise BadInput("An answer is for no photo of this sheet.", "Load the sheet again.")
    answers = {sha: value for sha, value in sheet.proposed().items() if sha in seen and sha not in clicks}
    answers |= clicks
    for sha, value in answers.items():
        _refuse(sheet, known[sha], value, groups[sha], seen.get(sha, 0), sha in opened)
    if not answers:
        raise BadInput("No photo of this sheet was looked at.", "Look at the photos first.")
    begin_pools(library, [sheet.tag], by)
    return give_labels(
        library,
        [(known[sha], {sheet.tag: value}) for sha, value in answers.items()],
        by=by,
        asked_by=SHEET,
        saw_machine=True,
    )


def _refuse(sheet: Sheet, photo: Photo, value: str, group: str, shown_px: int, opened: bool) -> None:
    """Raise BadInput where an answer breaks a law of sheets."""
    name = photo.path_name
    enough = shown_px >= min(sheet.least, max(photo.width, photo.height))
    if not opened and not enough:
        raise BadInput(f"{name} was not shown large enough.", "Make the pictures larger, or open the photo.")
    if sheet.tag.startswith(SHOWS):
        return
    if value == "present" and not opened:
        raise BadInput(f"{name}: a defect is answered 'present' on the photo itself.", "Open the photo.")
    if value == "absent" and group != NO and not opened:
        raise BadInput(f"{name}: {sheet.why_not or 'the promise does not cover it.'}", "Open the photo.")
