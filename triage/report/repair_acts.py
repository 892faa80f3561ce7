"""What a person does in the repair round: answers on the photos after, and closes every line that holds.

Every closing goes through `assess.acts`, which asks for all its conditions; nothing here decides on them.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from triage.domain.reviewing import ABSENT, PRESENT, UNCLEAR
from triage.domain.vocabulary import SHOWS
from triage.errors import BadInput
from triage.label.rows import Where, give_labels
from triage.library import queries
from triage.report.awaiting import Pair, part_of

if TYPE_CHECKING:
    from triage.library import Library

REPAIRED, STILL, UNSURE = "repaired", "still", "unsure"
"""What a person may say of two photos side by side; 'repaired' also confirms that they show one place."""
_VALUES = {REPAIRED: ABSENT, STILL: PRESENT, UNSURE: UNCLEAR}
Said = tuple[Pair, str]


@dataclass(frozen=True)
class Outcome:
    """What became of a line that somebody wanted closed: `refused` says why it stays open, else null."""

    pair: Pair
    refused: str | None = None
    mend: str = ""

    def to_json(self) -> dict[str, Any]:
        """Return the line with "closed" and, where it stays open, the reason."""
        stays = {"reason": self.refused, "mend": self.mend} if self.refused else {}
        return {**self.pair.to_json(), "closed": self.refused is None, **stays}


def close_pairs(
    lib: Library, pairs: Sequence[Pair], *, why: str, by: str, compared: Collection[tuple[str, str]] = ()
) -> list[Outcome]:
    """Close the lines given, one act for each deck; a line whose conditions do not hold stays open.

    `compared` are the (before, after) hashes that the person looked at side by side and confirms to show one
    place. Raises WrongUsage without a reason.
    """
    from triage.assess.acts import ToClose, close_many

    found: list[Outcome] = []
    for deck in dict.fromkeys(one.deck for one in pairs):
        mine = [one for one in pairs if one.deck == deck]
        whole = [
            (one, ToClose(one.rule, place_of(one), one.before, one.after, _pair_key(one) in compared))
            for one in mine
            if one.before and one.after
        ]
        refusals = close_many(lib, deck, [wanted for _, wanted in whole], why=why, by=by)
        for (one, _), refused in zip(whole, refusals, strict=True):
            said = (str(refused), refused.mend) if refused else (None, "")
            found.append(Outcome(one, *said))
        found += [Outcome(one, one.reason, one.mend) for one in mine if not (one.before and one.after)]
    return found


def _pair_key(one: Pair) -> tuple[str, str]:
    return (one.before.sha if one.before else "", one.after.sha if one.after else "")


def place_of(one: Pair) -> str:
    """Return the place that a closing of the line names: the concern's, else the part."""
    return one.place or part_of(one.element)


def answer_pairs(lib: Library, lines: Sequence[Said], *, why: str, by: str) -> list[Outcome]:
    """Record what a person says of photos side by side, then close the lines that were repaired.

    The answers are one act, the closings another for each deck, so that `undo` takes back the closings first.
    Returns what became of the lines said to be repaired. Raises BadInput, with nothing recorded, for an
    answer that is none, two that contradict each other on one photo, or a closing without a reason.
    """
    for one, word in lines:
        if word not in _VALUES or one.after is None:
            raise BadInput("This is not a valid answer.", "Choose one of the answers beside the photos.")
        if word != REPAIRED and not one.tag:
            raise BadInput("A finding has no question to answer.", "Leave it open, or close it.")
    repaired = [one for one, word in lines if word == REPAIRED]
    if repaired and not why.strip():
        raise BadInput("What was done and how it was checked is missing.", "Fill it in and send it again.")
    answers = _answers(lines)
    new = {key: said for key, said in answers.items() if not _said_before(lib, *key, said[1], by)}
    if new:
        give_labels(
            lib,
            [(queries.find_photo(lib, sha), {tag: value}) for (sha, tag), (_, value) in new.items()],
            by=by,
            where_of={
                (sha, tag): Where(place=one.place if value == PRESENT and tag == one.tag else None)
                for (sha, tag), (one, value) in new.items()
            },
        )
    compared = {_pair_key(one) for one in repaired}
    return close_pairs(lib, repaired, why=why, by=by, compared=compared) if repaired else []


def _answers(lines: Sequence[Said]) -> dict[tuple[str, str], Said]:
    """Return (photo, tag) -> (line, value). Raises BadInput where two lines contradict each other."""
    found: dict[tuple[str, str], Said] = {}
    for one, word in lines:
        if one.after is None or not one.tag:
            continue
        said = [(one.tag, _VALUES[word])]
        said += [(f"{SHOWS}{one.element}", PRESENT)] if word == REPAIRED and one.element else []
        for tag, value in said:
            key = (one.after.sha, tag)
            if key in found and found[key][1] != value:
                raise BadInput(
                    f"Two answers contradict each other on the photo {one.names[1]}; nothing was recorded.",
                    "Give one answer for one photo, or choose another photo after.",
                )
            found[key] = (one, value)
    return found


def _said_before(lib: Library, sha: str, tag: str, value: str, by: str) -> bool:
    """Return whether this person has said just this already."""
    with lib.read() as connection:
        word = queries.words(connection, photo=sha, tag=tag).get((sha, tag))
    return word is not None and any(one.by == by and one.value == value for one in word.labels)
