"""The rule book: what is concluded from what, with the reason, the repair and the source, as data.

The shipped rules are `triage/data/rules/*.toml`; a firm adds its own in a file or folder in its library.
Every rule is checked when it is loaded, and a refusal names file, line and rule.
"""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from triage.assess.conditions import Condition
from triage.assess.parsing import Known, Refused, parse
from triage.assess.severity import BY_RATIO, Grade, Matrix, load_matrix
from triage.domain.packaged import DATA, packaged_toml
from triage.domain.tiers import tier_rank
from triage.domain.toml_lines import line_of, table_spans
from triage.domain.vocabulary import Vocabulary
from triage.errors import BadInput
from triage.structure import CHECK_IDS

SHIPPED = DATA / "rules"
TIER_WEIGHT: Mapping[str, float] = {
    "stop-use": 64.0,
    "repair-before-use": 16.0,
    "repair-this-season": 4.0,
    "watch": 1.0,
}
"""Weight of one concern in the score that orders decks of equal tiers."""
DEPARTS_ENDS = "May have been allowed when built."


TierName = Literal["stop-use", "repair-before-use", "repair-this-season", "watch"]
GRADE_OF_TIER = {
    "stop-use": "failing",
    "repair-before-use": "distress",
    "repair-this-season": "wrong",
    "watch": "early",
}
"""The severity that a fixed tier counts as in the order of decks."""


class Rule(BaseModel):
    """One rule of the book.

    `severity` (with `redundancy` and `at_least`) is read in the severity matrix for the height of the deck; a
    rule with a fixed `tier` has that tier at every height. `tag` is the tag whose places the concern takes
    over; `raises` names rules that are worse together and so raised by this one; `replaces` names milder
    rules that this one speaks for when both hold; `covered_after_repair` asks for an after-photo that shows
    the element before it is closed up. `tiers` are its tiers by class of fall, `tier` the worst of them.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, strict=True)

    id: str = Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")
    kind: Literal["hazard", "departs-from-today"]
    element: str
    tier: TierName = "watch"
    concluded: str = Field(min_length=10)
    why: str = Field(min_length=20)
    repair: str = Field(min_length=10)
    verify_on_site: str = Field(min_length=10)
    call: Literal["engineer", "contractor", "owner", "building official"]
    source: str = Field(min_length=5)
    when: Condition
    tag: str | None = None
    raises: tuple[str, ...] = ()
    replaces: tuple[str, ...] = ()
    covered_after_repair: bool = False
    severity: Literal["early", "wrong", "distress", "failing", "by-ratio"] | None = None
    redundancy: Literal["primary", "shared", "person"] | None = None
    at_least: TierName | None = None
    tiers: tuple[str, ...] = ()

    @field_validator("concluded", "why", "repair", "verify_on_site")
    @classmethod
    def _is_a_sentence(cls, text: str) -> str:
        if not text.strip().endswith((".", "!", "?")):
            raise ValueError("is a sentence and ends with a full stop")
        return text.strip()

    @property
    def tags(self) -> tuple[str, ...]:
        """The tags its condition names, in the order of the file, each once."""
        return tuple(dict.fromkeys(leaf.name for leaf in self.when.leaves("tag")))

    @property
    def primary_tag(self) -> str | None:
        """The tag whose places the concern takes over: the named one, else the condition's first."""
        return self.tag or next(iter(self.tags), None)


@dataclass(frozen=True)
class RuleBook:
    """All rules by id in the order of the files, a hash over what they say, and their severity matrix."""

    rules: Mapping[str, Rule]
    hash: str
    matrix: Matrix

    @cached_property
    def in_order(self) -> tuple[Rule, ...]:
        """The rules in the order of the files."""
        return tuple(self.rules.values())

    @cached_property
    def worst_first(self) -> tuple[tuple[Rule, ...], ...]:
        """The rules by their tier in each class of fall, worst first."""
        return tuple(
            tuple(sorted(self.in_order, key=lambda rule: tier_rank(rule.tiers[fall.step])))
            for fall in self.matrix.falls
        )

    def grade(self, rule: Rule) -> Grade:
        """Return how bad what a rule concludes is, at whatever height; see `grade_by_ratio` for checks."""
        severity = rule.severity or GRADE_OF_TIER[rule.tier]
        redundancy = rule.redundancy or self.matrix.redundancy_of.get(rule.element, "primary")
        return Grade("early" if severity == BY_RATIO else severity, redundancy)

    def replaced_by(self, rule: Rule) -> frozenset[str]:
        """Return the ids of all rules that `rule` speaks for, directly or through another."""
        found: set[str] = set()
        todo = list(rule.replaces)
        while todo:
            name = todo.pop()
            if name not in found:
                found.add(name)
                todo.extend(self.rules[name].replaces)
        return frozenset(found)


_Texts = tuple[tuple[Path, str], ...]
"""Files of rules with their content."""


@dataclass(frozen=True)
class _Place:
    """Where in a file a rule stands."""

    path: Path
    text: str
    span: tuple[int, int]

    def refuse(self, rule: str, message: str, word: str = "") -> BadInput:
        line = line_of(self.text, self.span, word) if word else self.span[0]
        return BadInput(f"{self.path}, line {line}: rule '{rule}': {message}.")


def known_facts() -> dict[str, frozenset[str] | None]:
    """Return the keys of deck facts with their choices (null where any value of the type goes)."""
    table = packaged_toml("facts.toml")
    return {key: frozenset(row["choices"]) if "choices" in row else None for key, row in table.items()}


@cache
def fact_elements() -> dict[str, str]:
    """Return the element that each fact belongs to."""
    table = packaged_toml("facts.toml")
    return {key: str(row.get("element", "whole-deck")) for key, row in table.items()}


def load_rule_book(extra: Path | None, vocabulary: Vocabulary, own_matrix: Path | None = None) -> RuleBook:
    """Return the shipped rules with a firm's own (`extra`: a TOML file or a folder of them) added.

    `own_matrix` is a firm's own cells of the severity matrix. Raises BadInput naming file, line and rule for
    anything unknown, doubled or contradictory.
    """
    paths = [SHIPPED, *([extra] if extra is not None and extra.exists() else [])]
    return read_rule_book(paths, vocabulary, load_matrix(own_matrix))


def read_rule_book(paths: Sequence[Path], vocabulary: Vocabulary, matrix: Matrix | None = None) -> RuleBook:
    """Return the rules of some files and folders; raises BadInput as `load_rule_book` does."""
    texts = tuple((path, _text_of(path)) for path in _files(paths))
    names = (frozenset(vocabulary.tags), frozenset(vocabulary.elements))
    if matrix is None or matrix is load_matrix(None):
        return _book_of_shipped_matrix(texts, *names)
    return _book_of(texts, *names, matrix)


@lru_cache(maxsize=8)
def _book_of_shipped_matrix(texts: _Texts, tags: frozenset[str], elements: frozenset[str]) -> RuleBook:
    """Read rules once for each content of their files: the page asks for the book with every request."""
    return _book_of(texts, tags, elements, load_matrix(None))


def _book_of(texts: _Texts, tags: frozenset[str], elements: frozenset[str], matrix: Matrix) -> RuleBook:
    known = Known(tags=tags, facts=known_facts(), checks=frozenset(CHECK_IDS), elements=elements)
    rules: dict[str, Rule] = {}
    places: dict[str, _Place] = {}
    for path, text in texts:
        for read, place in _read_file(path, text, known):
            rule = _with_tiers(read, matrix)
            if rule.id in rules:
                raise place.refuse(rule.id, f"the id is taken by {places[rule.id].path.name}", "id")
            rules[rule.id], places[rule.id] = rule, place
    _check_together(rules, places)
    digest = hashlib.sha256()
    for rule in rules.values():
        digest.update(repr(sorted(rule.model_dump(exclude={"when"}).items())).encode())
        digest.update(rule.when.canonical().encode())
    digest.update(repr(matrix.tiers).encode())
    return RuleBook(rules, digest.hexdigest(), matrix)


def _with_tiers(rule: Rule, matrix: Matrix) -> Rule:
    """Return a rule with its tiers by class of fall; one by a check's ratio has those of the first band."""
    if rule.severity is None or rule.kind == "departs-from-today":
        return rule.model_copy(update={"tiers": (rule.tier,) * len(matrix.falls)})
    redundancy = rule.redundancy or matrix.redundancy_of.get(rule.element, "primary")
    grade: Grade | None = Grade(rule.severity, redundancy)
    if rule.severity == BY_RATIO:
        checks = {leaf.name for leaf in rule.when.leaves("check")} & matrix.bands.keys()
        grade = matrix.grade_of_check(min(checks), 0.0) if checks else Grade("early", redundancy)
    assert grade is not None  # noqa: S101 - every check in `bands` has a grade
    tiers = matrix.tiers_of(grade, rule.at_least)
    return rule.model_copy(update={"tiers": tiers, "tier": tiers[-1]})


def _files(paths: Iterable[Path]) -> list[Path]:
    return [file for path in paths for file in (sorted(path.glob("*.toml")) if path.is_dir() else [path])]


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(f"{path}: cannot be read as a file of rules ({error}).") from error


def _read_file(path: Path, text: str, known: Known) -> list[tuple[Rule, _Place]]:
    try:
        rows = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"{path}: cannot be read as a file of rules ({error}).") from error
    unknown = sorted(set(rows) - {"rule"})
    if unknown or not isinstance(rows.get("rule"), list):
        what = f"holds '{unknown[0]}'" if unknown else "holds no [[rule]] table"
        raise BadInput(f"{path}: {what}.", "A file of rules holds [[rule]] tables and nothing else.")
    spans = table_spans(text, "rule")
    places = (_Place(path, text, spans[i] if i < len(spans) else (1, 1)) for i in range(len(rows["rule"])))
    return [(_read_rule(row, place, known), place) for row, place in zip(rows["rule"], places, strict=True)]


def _read_rule(row: Any, place: _Place, known: Known) -> Rule:
    if not isinstance(row, dict):
        raise place.refuse("?", "is no table")
    name = str(row.get("id", "?"))
    try:
        when = parse(row.get("when"), known)
        lists = {key: tuple(row[key]) for key in ("raises", "replaces") if isinstance(row.get(key), list)}
        if "tiers" in row:
            raise Refused("'tiers' is computed and cannot be given", "tiers")
        if ("tier" in row) == ("severity" in row):
            raise Refused("gives either a severity or a fixed tier", "tier")
        rule = Rule.model_validate({**row, **lists, "when": when})
    except Refused as refused:
        raise place.refuse(name, str(refused), refused.word) from refused
    except ValidationError as error:
        first = error.errors()[0]
        field = str(first["loc"][0]) if first["loc"] else "id"
        message = str(first["msg"]).removeprefix("Value error, ")
        raise place.refuse(name, f"field '{field}': {message}", field) from error
    if rule.element not in known.elements:
        raise place.refuse(name, f"unknown element '{rule.element}'", "element")
    if rule.tag is not None and rule.tag not in rule.tags:
        raise place.refuse(name, f"tag '{rule.tag}' is not in its condition", "tag")
    if rule.kind == "departs-from-today" and (rule.tier != "watch" or rule.severity not in (None, "early")):
        raise place.refuse(name, "what only departs from today's rules goes no further than 'watch'", "tier")
    return rule


def _check_together(rules: Mapping[str, Rule], places: Mapping[str, _Place]) -> None:
    """Refuse equal conditions, unknown names in raises and replaces, and raises that raise nothing."""
    conditions: dict[str, str] = {}
    for rule in rules.values():
        place = places[rule.id]
        same = conditions.setdefault(rule.when.canonical(), rule.id)
        if same != rule.id:
            raise place.refuse(rule.id, f"has the same condition as rule '{same}'", "when")
        for field, names in (("raises", rule.raises), ("replaces", rule.replaces)):
            for name in names:
                if name not in rules or name == rule.id:
                    raise place.refuse(rule.id, f"{field} names no other rule: '{name}'", field)
        for name in rule.raises:
            if not _worse(rule, rules[name]):
                raise place.refuse(rule.id, f"is not worse than '{name}', which it raises", "tier")
        for name in rule.replaces:
            if _milder_somewhere(rule, rules[name]):
                raise place.refuse(rule.id, f"is milder than '{name}', which it replaces", "replaces")
    for rule in rules.values():
        if rule.id in RuleBook(rules, "", load_matrix(None)).replaced_by(rule):
            raise places[rule.id].refuse(rule.id, "replaces itself through other rules", "replaces")


def _milder_somewhere(rule: Rule, other: Rule) -> bool:
    """Return whether a rule is milder than another in some class of fall."""
    return any(tier_rank(one) > tier_rank(two) for one, two in zip(rule.tiers, other.tiers, strict=True))


def _worse(rule: Rule, other: Rule) -> bool:
    """Return whether a rule is nowhere milder than another and worse somewhere (by ratio: always)."""
    if rule.severity == BY_RATIO:
        return True
    return rule.tiers != other.tiers and not _milder_somewhere(rule, other)
