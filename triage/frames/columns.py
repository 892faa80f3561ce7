"""The columns of every table: name, kind, unit and meaning, and which of them may name people."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

DTYPES: Mapping[str, str] = {
    "text": "string",
    "integer": "Int64",
    "number": "Float64",
    "true/false": "boolean",
    "time": "datetime64[us, UTC]",
}
"""The pandas dtype of each kind; every one of them can hold a missing value."""
LOCAL_DTYPE = "datetime64[us]"
"""The dtype of a clock's reading without its zone."""


@dataclass(frozen=True)
class Column:
    """A column: `kind` is a key of `DTYPES`.

    `person` marks names of people, `free_text` what somebody typed freely and may name people.
    """

    name: str
    kind: str
    unit: str
    meaning: str
    person: bool = False
    free_text: bool = False


class Typed(NamedTuple):
    """A column of a DataFrame: its name, its pandas dtype, its unit and what it says."""

    name: str
    dtype: str
    unit: str
    meaning: str


_BOX = "fractions of the upright photo"
_DAY = "ISO 8601 date"
_VISIT = Column("visit", "text", _DAY, "the visit; empty where no date is known")
_BY = Column("by", "text", "", "who recorded it, or a pseudonym", person=True)
_AT = Column("at", "time", "ISO 8601", "when it was recorded")
_PLACE = Column("place", "text", "", "where on the deck, in a person's words", free_text=True)
_PHOTO = Column("photo", "text", "", "SHA-256 of the original file")

PHOTOS: tuple[Column, ...] = (
    Column("photo", "text", "", "SHA-256 of the original file; the key of all tables"),
    Column("deck", "text", "", "the deck it shows"),
    _VISIT,
    Column("name", "text", "", "file name below the deck's folder"),
    Column("taken_at", "time", "ISO 8601", "the camera's time, with a zone only where the camera gave one"),
    Column("width", "integer", "pixels", "width of the upright photo"),
    Column("height", "integer", "pixels", "height of the upright photo"),
    Column("camera", "text", "", "model of the camera; never its serial number"),
)
LABELS: tuple[Column, ...] = (
    _PHOTO,
    Column("deck", "text", "", "the photo's deck"),
    Column("tag", "text", "", "the tag that was asked about, see tags"),
    Column("value", "text", "", "present, absent or unclear"),
    _BY,
    _AT,
    Column("box", "text", _BOX, "x,y,width,height, several joined by ';'; zero size is a point"),
    _PLACE,
    Column("count", "integer", "", "how many of them"),
    Column(
        "asked_by",
        "text",
        "",
        "how the photo came to be asked about (deck, taken, random, second-look, audit: the machine did not "
        "choose it)",
    ),
    Column("saw_machine", "true/false", "", "whether the person had seen the machine's suggestion"),
    Column("note", "text", "", "anything else; left out with pseudonyms", free_text=True),
)
WORDS: tuple[Column, ...] = (
    _PHOTO,
    Column("tag", "text", "", "the tag that was asked about"),
    Column("value", "text", "", "all labels combined; the worse one while people disagree"),
    Column("disputed", "true/false", "", "people said present and absent, and nobody settled it"),
    Column("settled", "true/false", "", "a named person settled the dispute"),
    Column("people", "integer", "", "how many people answered"),
)
SUGGESTIONS: tuple[Column, ...] = (
    _PHOTO,
    Column("deck", "text", "", "the photo's deck"),
    Column("tag", "text", "", "the tag that the machine judged"),
    Column("model", "text", "", "SHA-256 of the model"),
    Column("score", "number", "", "the classifier's raw score; orders photos of one tag and model"),
    Column("probability", "number", "0 to 1", "the calibrated probability that the photo shows it"),
    Column("pile", "text", "", "likely, unsure or unlikely"),
    Column(
        "promise",
        "text",
        "",
        "holds, too-few or withdrawn: unless it holds, 'unlikely' answers nothing and a person must look",
    ),
    Column("box", "text", _BOX, "where in the photo: x,y,width,height, several joined by ';'"),
)
FACTS: tuple[Column, ...] = (
    Column("deck", "text", "", "the deck"),
    _VISIT,
    Column("key", "text", "", "name of the fact, see `deck-triage facts keys`"),
    Column("value", "text", "", "the value as a facts file holds it; 'unknown' was recorded as unknown"),
    Column("number", "number", "see the column unit", "the value as a number where it is one"),
    Column("unit", "text", "", "unit of the number"),
    Column("text", "text", "", "the value where it is free text", free_text=True),
    _BY,
    _AT,
    Column("photos", "text", "", "photos that show it, by SHA-256, joined by ';'"),
)
DECKS: tuple[Column, ...] = (
    Column("deck", "text", "", "the deck, worst first"),
    Column("visit", "text", _DAY, "the latest visit; empty where no date is known"),
    Column("photos", "integer", "", "photos of all visits"),
    Column(
        "tier",
        "text",
        "",
        "stop-use, repair-before-use, repair-this-season, watch or nothing-seen, from people, facts and "
        "checks; empty means that not enough was seen or reviewed to say, never that the deck is fine",
    ),
    Column("tier_shown", "text", "", "the tier that lists show: a person's own where it is worse"),
    Column("tier_if_true", "text", "", "the tier if every suggestion of the machine were true"),
    Column("tier_by_person", "text", "", "a person's own tier"),
    Column("tier_by_person_by", "text", "", "who gave it, or a pseudonym", person=True),
    Column("tier_by_person_at", "time", "ISO 8601", "when it was given"),
    Column("tier_by_person_why", "text", "", "the reason given", free_text=True),
    Column("gaps", "text", "", "none, some or serious: what of the load path was not seen well"),
    Column("unreviewed", "integer", "", "photo and tag pairs that nobody has answered yet"),
    Column("concerns", "integer", "", "open concerns, see concerns"),
    Column("height_class", "text", "", "height above grade as a class; unknown counts as the worst"),
    Column("known", "number", "", "what is known at the joints, added up; orders decks, not a probability"),
    Column("up_to", "number", "", "what it could come to with all that is unseen or unanswered"),
)
CONCERNS: tuple[Column, ...] = (
    Column("deck", "text", "", "the deck"),
    _VISIT,
    Column("rule", "text", "", "the rule, check or finding that it comes from"),
    Column("tag", "text", "", "the tag that it rests on, if any"),
    Column("kind", "text", "", "hazard, or departs-from-today (may have been allowed when built)"),
    Column("standing", "text", "", "verified-on-site, seen-by-person, calculated, disputed or possible"),
    Column("status", "text", "", "new, still-there, not-looked-at-again or repaired"),
    Column("tier", "text", "", "how urgent it is by itself"),
    Column("severity", "text", "", "how bad it is, whatever the height"),
    Column("element", "text", "", "the part of the deck"),
    _PLACE,
    Column("count", "integer", "", "how many of them"),
    Column("concluded", "text", "", "what the rule or check concluded; empty for a finding"),
    Column("finding", "text", "", "what a person saw that no tag covers", free_text=True),
    Column("call", "text", "", "whom to call: contractor or engineer"),
    Column("source", "text", "", "where the rule comes from"),
    Column("photos", "text", "", "photos by SHA-256, best evidence first, joined by ';'"),
)
COVERAGE: tuple[Column, ...] = (
    Column("deck", "text", "", "the deck"),
    _VISIT,
    Column("element", "text", "", "the part of the load path"),
    Column("seen", "text", "", "well, poorly, not-seen or concealed"),
    Column("count", "integer", "", "how many were seen, where they can be counted"),
    Column("of", "integer", "", "of how many"),
    Column("why", "text", "", "why it counts as seen that far", free_text=True),
    Column("photos", "text", "", "photos by SHA-256, joined by ';'"),
)
TABLES: Mapping[str, tuple[Column, ...]] = {
    "photos": PHOTOS,
    "labels": LABELS,
    "words": WORDS,
    "suggestions": SUGGESTIONS,
    "facts": FACTS,
    "decks": DECKS,
    "concerns": CONCERNS,
    "coverage": COVERAGE,
}


def typed_columns(columns: tuple[Column, ...]) -> tuple[Typed, ...]:
    """Return the columns of the DataFrame: a time has two, in UTC and as its clock read."""
    found = []
    for one in columns:
        if one.kind == "time":
            meaning = f"{one.meaning}; missing where the zone is not known"
            found.append(Typed(one.name, DTYPES["time"], "UTC", meaning))
            found.append(Typed(f"{one.name}_local", LOCAL_DTYPE, "", "the same time as the clock read it"))
        else:
            found.append(Typed(one.name, DTYPES[one.kind], one.unit, one.meaning))
    return tuple(found)
