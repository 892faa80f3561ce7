"""The laws of the assessment as predicates over one deck: each returns what breaks it, or nothing."""

import dataclasses
from dataclasses import replace

import deck_builder as made
from random_decks import BASE, COUNTS, NUMBERS, SIZES, VOCABULARY, completed

from triage.assess import assess_deck, load_rule_book
from triage.assess.order import order_key
from triage.domain.tiers import GAPS, tier_rank
from triage.structure.harm import harms

BOOK = load_rule_book(None, VOCABULARY)
VERDICTS = ("over", "cannot-say", "within")
MAY_LOWER = {
    "attached",
    "height_above_grade_ft",
    "post_height_ft",
    "post_size",
    "house_side_support",
    "exposure",
    "extra_load",
}
"""Facts that are no word against a photo, but tell how bad what it shows is."""


def assess(evidence, book=BOOK):
    return assess_deck(evidence, book, VOCABULARY)


def with_facts(evidence, values):
    return replace(evidence, facts=made.facts(values))


def values_of(evidence):
    return {key: fact.value for key, fact in evidence.facts.items()}


def opened(summary):
    return [one for one in summary.concerns if one.is_open and one.standing != "possible"]


def _plain(summary):
    row = summary.to_json()
    return {key: row[key] for key in ("tier", "tier_if_true", "gaps", "concerns", "coverage", "checks")}


def ignorance(evidence, key):
    """A fact taken away scores as `unknown` said aloud, hides nothing else, never makes 'nothing seen'."""
    known = values_of(evidence)
    before = assess(evidence)
    after = assess(with_facts(evidence, {k: v for k, v in known.items() if k != key}))
    aloud = assess(with_facts(evidence, {**known, key: "unknown"}))
    if _plain(after) != _plain(aloud):
        return f"{key} unsaid and said to be unknown differ"
    if after.tier == "nothing-seen" != before.tier:
        return f"without {key} the deck reads nothing-seen, with it {before.tier}"
    kept = [(one.tag, one.element, tier_rank(one.tier)) for one in opened(after)]
    for one in opened(before):
        rests = key in one.facts or one.standing == "calculated"
        same = [r for tag, element, r in kept if (tag, element) == (one.tag, one.element)]
        if not rests and not any(r <= tier_rank(one.tier) for r in same):
            return f"without {key} '{one.rule}' is lowered"
    return ""


def worse_values(key, value):
    """Return the values of a fact that are more harmful than one, nearest first."""
    harm = harms()[key]
    level = harm.level(value)
    if level is None:
        return []
    options = harm.steps or NUMBERS.get(key) or COUNTS.get(key) or SIZES.get(key) or ()
    worse = [(harm.level(one), one) for one in options if harm.level(one) is not None]
    return [one for _, one in sorted((lv, str(v), v)[::2] for lv, v in worse if lv > level)]


def milder(before, after):
    """Return in what an assessment that should be no better reads milder."""
    for name in ("tier", "tier_if_true"):
        if tier_rank(getattr(after, name)) > tier_rank(getattr(before, name)):
            return f"{name} {getattr(before, name)} -> {getattr(after, name)}"
    if GAPS.index(after.gaps) > GAPS.index(before.gaps):
        return f"gaps {before.gaps} -> {after.gaps}"
    for order in ("danger", "look"):
        if order_key(after, order) > order_key(before, order):
            return f"order {order}: {order_key(before, order)} -> {order_key(after, order)}"
    then = {one.check: one for one in before.checks}
    for one in after.checks:
        was = then.get(one.check)
        if was is not None and VERDICTS.index(one.verdict) > VERDICTS.index(was.verdict):
            return f"{one.check}: {was.verdict} -> {one.verdict}"
    return ""


def harm(evidence, key, worse):
    """A fact moved in the direction of harm never reads milder."""
    known = values_of(evidence)
    moved = {key: worse}
    for other in harms()[key].in_proportion:
        if known.get(other) is not None:
            moved[other] = known[other] * worse / known[key]
    return milder(assess(evidence), assess(with_facts(evidence, {**known, **moved})))


def one_more_defect(evidence, label):
    """One more defect seen never reads milder."""
    if all(one.sha != label.photo for one in evidence.photos):
        return ""
    labels = [one for word in evidence.words.values() for one in word.labels]
    new = dataclasses.replace(label, by="Cleo", at="2026-07-01T00:00:00+00:00", value="present")
    after = replace(evidence, words=made.put_together([*labels, new]))
    return milder(assess(evidence), assess(after))


def erasing(evidence, key, value):
    """A fact that is told hides nothing that a person labeled in a photo."""
    known = values_of(evidence)
    if key in known:
        return ""
    before, after = assess(evidence), assess(with_facts(evidence, {**known, key: value}))
    for one in opened(before):
        if one.tag is None or not one.photos:
            continue
        same = [tier_rank(other.tier) for other in opened(after) if other.tag == one.tag]
        if not same:
            return f"{key}={value} hides '{one.rule}'"
        if key not in MAY_LOWER and min(same) > tier_rank(one.tier):
            return f"{key}={value} lowers '{one.rule}'"
    return ""


def no_bonus(evidence):
    """A rule that raises others counts at its joint once: as the worst, never on top of them."""
    combining = [rule.id for rule in BOOK.in_order if rule.raises]
    plain = replace(BOOK, rules={name: one for name, one in BOOK.rules.items() if name not in combining})
    with_all, without = assess(evidence), assess(evidence, _without_links(plain))
    joints = {one.joint: one for one in with_all.joints}
    before = {one.joint: one.known for one in without.joints}
    for name, joint in joints.items():
        if joint.leading not in combining and joint.known > before.get(name, 0.0) + 1e-9:
            return f"{name} weighs more although no combining rule leads there"
    if abs(with_all.known - sum(one.known for one in with_all.joints)) > 1e-9:
        return "the joints do not add up"
    worst = {}
    for one in opened(with_all):
        worst[one.element] = max(worst.get(one.element, 0.0), one.weight)
    return "" if with_all.known <= 6 * sum(worst.values()) + 1e-9 else "more than the worst of each part"


def _without_links(book):
    rules = {
        name: rule.model_copy(
            update={
                "replaces": tuple(one for one in rule.replaces if one in book.rules),
                "raises": tuple(one for one in rule.raises if one in book.rules),
            }
        )
        for name, rule in book.rules.items()
    }
    return type(book)(rules, book.hash, book.matrix)


def nothing_seen(evidence):
    """'Nothing seen' says what it rests on; nothing on the deck's load path is unsaid then."""
    from triage.structure.check import LOAD_PATH

    summary = assess(evidence)
    if summary.tier != "nothing-seen":
        return ""
    if not summary.reason.startswith("In what was photographed"):
        return "it does not say what it rests on"
    if values_of(evidence).get("height_above_grade_ft") in (None, "unknown"):
        return "the height is unknown"
    unsaid = [c for c in summary.checks if c.verdict == "cannot-say"]
    if any(c.check in LOAD_PATH for c in unsaid):
        return "a check of the load path is unsaid"
    missing = [c.check for c in unsaid if c.check not in summary.reason]
    return f"{missing} are not listed" if missing else ""


COMPLETE = completed(BASE, assess)
"""A deck of which everything is known that a rule or a check asks for, and nothing is wrong."""


def whole(evidence):
    """Return the same photos with a deck of which everything is known and nothing wrong."""
    return with_facts(evidence, COMPLETE)
