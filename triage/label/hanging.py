"""What an answer about a part answers with it: one rule for the terminal, the page and the contact sheets.

A photo that does not show the ledger cannot show a ledger that is held by nails alone. So 'absent' for a
part answers 'absent' for the tags that hang on it, where nobody has said anything about them. Such an answer
is derived and recorded as such. When the part turns out to show after all, nobody has looked at what was
derived: it becomes 'cannot tell' and is asked again.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from triage.domain.vocabulary import SHOWS, Tag
from triage.library.derived import derived_in
from triage.library.records import SHEET

if TYPE_CHECKING:
    from triage.domain.vocabulary import Vocabulary
    from triage.library.database import Connection
    from triage.library.records import Label, Word

Answers = Mapping[str, "Word"]
"""What was said about one photo, by tag."""
WHOLE_DECK = "whole-deck"


def part_of(tag: Tag) -> str | None:
    """Return the tag of the part that a tag hangs on; null where it hangs on none."""
    if tag.element is None or tag.element == WHOLE_DECK or tag.tag.startswith(SHOWS):
        return None
    return SHOWS + tag.element


def hangs_on(words: Answers, tag: Tag) -> bool:
    """Return whether a photo is said, without dispute, not to show the part that a tag hangs on.

    What was only confirmed on a contact sheet of the machine's proposals says nothing of a defect.
    """
    part, own = part_of(tag), words.get(tag.tag)
    said = words.get(part) if part is not None else None
    if said is None or said.value != "absent" or said.disputed:
        return False
    looked = any(one.asked_by != SHEET for one in said.labels)
    return looked and (own is None or own.value == "absent")


def answered_with(
    part: str, words: Answers, vocabulary: Vocabulary, tags: Iterable[str], derived: Collection[str] = ()
) -> list[str]:
    """Return which of some tags 'absent' for a part answers on a photo: those that nobody spoke of.

    `derived` are events of labels that followed from a part: they count as nobody's word.
    """
    return [
        tag
        for tag in tags
        if part_of(vocabulary.tags[tag]) == part
        and (tag not in words or all(one.event in derived for one in words[tag].labels))
    ]


def part_note(tag: Tag) -> str:
    """Return what is kept with a 'no' that follows from the part: it says that nobody looked closer."""
    return f"By the part: the photo does not show the {(tag.element or 'part').replace('-', ' ')}."


def taken_back_note(tag: Tag) -> str:
    """Return what is kept with a derived answer that is taken back since the part shows after all."""
    return f"The photo shows the {(tag.element or 'part').replace('-', ' ')} after all: not looked at yet."


def not_looked_at(labels: Iterable[Label], derived: Collection[str]) -> set[tuple[str, str]]:
    """Return the (photo, tag) of derived answers that were taken back: they are open although 'unclear'."""
    return {(one.photo, one.tag) for one in labels if one.event in derived and one.value == "unclear"}


def taken_back(
    connection: Connection, labels: Sequence[Label], answers: Iterable[tuple[str, str, str]], by: str
) -> list[tuple[str, str, str]]:
    """Return what answers about parts take back, as (photo, tag, part): derived 'no's of parts that show.

    `labels` are the current ones of the photos, `answers` are (photo, tag, value) as they are given now. A
    tag that this person answered by itself, or answers now, stays.
    """
    given = list(answers)
    showing = {(photo, tag) for photo, tag, value in given if tag.startswith(SHOWS) and value != "absent"}
    if not showing:
        return []
    now = {(photo, tag) for photo, tag, _ in given}
    derived = derived_in(connection, photos={photo for photo, _ in showing})
    own = {(one.photo, one.tag) for one in labels if one.by == by and one.event not in derived}
    found = {
        (one.photo, one.tag): derived[one.event]
        for one in labels
        if one.event in derived and one.value == "absent" and (one.photo, derived[one.event]) in showing
    }
    return [(*key, part) for key, part in found.items() if key not in own | now]
