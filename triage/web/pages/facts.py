"""Facts of a deck as a form, with the structural checks that they make possible beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from starlette.responses import Response

from triage.domain.vocabulary import ELEMENTS
from triage.errors import BadInput
from triage.library import queries
from triage.report.fact_words import length_words
from triage.report.phrases import tag_words
from triage.report.text import count_of
from triage.structure.facts import FACT_KEYS, FactKey, parse_facts
from triage.structure.site_sheet import label_of, more_lines, short_sheet
from triage.structure.telling import set_facts
from triage.web.bodies import as_json
from triage.web.request_context import RequestContext

_SAID = {True: "true", False: "false"}
_FIELD = "fact."


def show(ask: RequestContext) -> Response:
    """Show the form with what is known."""
    return _page(ask, {}, "", "")


def _page(
    ask: RequestContext,
    typed: dict[str, str],
    fault: str,
    hint: str,
    status: int = 200,
    clashes: Sequence[dict[str, str]] = (),
    wrong: Mapping[str, str] | None = None,
) -> Response:
    deck = ask.deck()
    visits = queries.visits(ask.library, deck)
    visit = ask.query.get("visit") or ask.text("visit") or queries.ANY_VISIT
    facts = queries.facts(ask.library, deck, visit)
    one = ask.site.standing(ask.name).of(deck)
    missing = {key for check in one.checks for key in check.missing}
    return ask.site.show(
        "facts.html",
        ask,
        here="facts",
        deck_name=deck,
        status=status,
        sections=short_sheet(),
        groups=_groups(facts, missing),
        values={key: as_text(key, fact.value) for key, fact in facts.items()} | _typed(typed),
        facts=facts,
        shown={key: as_text(key, fact.value) for key, fact in facts.items()},
        clashes=clashes,
        wrong=wrong or {},
        missing=missing,
        label_of=label_of,
        fault=fault,
        hint=hint,
        one=one,
        visits=visits,
        visit="" if visit == queries.ANY_VISIT else visit,
    )


def _typed(typed: dict[str, str]) -> dict[str, str]:
    return {name.removeprefix(_FIELD): value for name, value in typed.items()}


def _groups(facts: Any, missing: set[str]) -> list[dict[str, Any]]:
    """Return the facts behind "more" by element along the load path; those asked for by a check come open."""
    found = []
    for element in ("whole-deck", *(one for one in ELEMENTS if one != "whole-deck")):
        lines = [line for line in more_lines() if line.key.element == element]
        if lines:
            found.append(
                {
                    "words": tag_words(element),
                    "lines": lines,
                    "known": sum(1 for line in lines if line.key.key in facts),
                    "asked": sum(1 for line in lines if line.key.key in missing),
                }
            )
    return found


def as_text(key: str, value: Any) -> str:
    """Return a fact's value as it is typed into the form: feet as '10 ft 6 in' where that is exact."""
    if isinstance(value, bool):
        return _SAID[value]
    if isinstance(value, list | tuple):
        return ", ".join(str(one) for one in value)
    schema = FACT_KEYS.get(key)
    if schema is not None and schema.unit == "ft" and isinstance(value, int | float):
        words = length_words(value)
        return words if _same(key, words, f"{value!r}") else f"{value:g}"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _same(key: str, one: str, other: str) -> bool:
    """Return whether two texts say the same of a fact: `10.5` and `10 ft 6 in` do."""
    if one == other or not (one and other) or key not in FACT_KEYS:
        return one == other
    try:
        return parse_facts({key: one}) == parse_facts({key: other})
    except BadInput:
        return False


def save(ask: RequestContext) -> Response:
    """Store what differs from what is known, all of it or nothing."""
    deck = ask.deck()
    by = ask.by
    visit = ask.text("visit") or None
    facts = queries.facts(ask.library, deck, visit or queries.ANY_VISIT)
    known = {key: as_text(key, fact.value) for key, fact in facts.items()}
    typed = {
        name: _value(FACT_KEYS.get(name.removeprefix(_FIELD)), values)
        for name, values in ask.form.items()
        if name.startswith(_FIELD)
    }
    shown = _shown(ask, known)
    changed = {
        key: value
        for key, value in _typed(typed).items()
        if not _same(key, value, shown.get(key, "")) and not _same(key, value, known.get(key, ""))
    }
    clashes = [key for key in changed if not _same(key, known.get(key, ""), shown.get(key, ""))]
    if clashes:
        rows = [
            {
                "key": key,
                "theirs": known.get(key, ""),
                "yours": changed[key],
                "by": facts[key].by if key in facts else "",
            }
            for key in clashes
        ]
        mine = {_FIELD + key: value for key, value in changed.items()}
        return _page(ask, mine, "", "", status=409, clashes=rows)
    try:
        set_facts(ask.library, deck, changed, by=by, visit=visit)
    except BadInput as error:
        wrong = _wrong(changed)
        fault = "" if wrong else str(error)
        return _page(ask, typed, fault, error.hint if fault else "", status=400, wrong=wrong)
    told = f"{count_of(len(changed), 'fact')} stored." if changed else "Nothing was changed."
    return ask.done(ask.url("deck/facts", d=deck, visit=visit), told)


def _wrong(given: Mapping[str, str]) -> dict[str, str]:
    """Return what is wrong with each value that cannot be taken, by its fact."""
    found = {}
    for key, value in given.items():
        try:
            parse_facts({key: value})
        except BadInput as error:
            found[key] = f"{error} {error.hint}".strip()
    return found


def _shown(ask: RequestContext, known: dict[str, str]) -> dict[str, str]:
    """Return the values that the form showed when it was opened; those known now where it does not say."""
    said = ask.text("shown", 100_000)
    if not said:
        return known
    found = as_json(said.encode())
    return {str(key): str(value) for key, value in found.items()}


def _value(key: FactKey | None, values: list[str]) -> str:
    if key is not None and key.type == "list":
        return ", ".join(one.strip() for one in values if one.strip())
    return values[-1].strip()
