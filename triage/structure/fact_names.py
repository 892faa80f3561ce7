"""Other names of facts and answers: `height` for `height_above_grade_ft`, `SYP` for southern pine.

A key may be written without its unit where that names one key only; other names are listed with the key in
`triage/data/facts.toml`, other words for an answer in `triage/data/fact_words.toml`.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Mapping
from functools import cache

from triage.domain.packaged import packaged_toml

UNIT_ENDINGS = ("_ft", "_in", "_psf", "_lb", "_percent", "_sqft")


def plain_name(text: str) -> str:
    """Return a key as it is compared: lower case, words joined by underscores."""
    return re.sub(r"[\s_-]+", "_", text.strip().lower())


def names(also: Mapping[str, Collection[str]]) -> dict[str, str]:
    """Return every name a key may be called by; `also` maps each key to its other names.

    Raises ValueError where two keys claim one name (a mistake in the data file).
    """
    found = {key: key for key in also}
    for key, others in also.items():
        for other in others:
            if found.setdefault(plain_name(other), key) != key:
                raise ValueError(f"{other!r} is a name of both {found[plain_name(other)]} and {key}")
    bare = {key: _without_unit(key) for key in also}
    count = Counter(bare.values())
    for key, name in bare.items():
        if count[name] == 1:
            found.setdefault(name, key)
    return found


def _without_unit(key: str) -> str:
    ending = next((one for one in UNIT_ENDINGS if key.endswith(one)), "")
    return key.removesuffix(ending)


@cache
def _answers() -> Mapping[str, tuple[str, ...]]:
    rows = packaged_toml("fact_words.toml")
    return {choice: tuple(row["words"]) for choice, row in rows.items()}


def choice_of(text: str, choices: Collection[str]) -> str | None:
    """Return the choice that a person's words mean, or null where they mean none of these."""
    said = " ".join(text.strip().lower().replace("_", " ").split())
    if said.replace(" ", "-") in choices:
        return said.replace(" ", "-")
    return next((choice for choice in choices if said in _answers().get(choice, ())), None)
