"""What the shipped rule book must be, as a whole."""

import re
import tomllib

from triage.assess.rules import SHIPPED, fact_elements
from triage.domain.tiers import TIERS, tier_rank
from triage.structure import CHECK_IDS


def test_it_is_large_enough_and_every_core_tag_has_two_rules_or_more(book, vocabulary):
    assert len(book.rules) >= 60
    for core in vocabulary.core:
        assert sum(core in rule.tags for rule in book.in_order) >= 2, core


def test_no_two_rules_have_equal_conditions(book):
    conditions = [rule.when.canonical() for rule in book.in_order]
    assert len(set(conditions)) == len(conditions)


def test_every_defect_tag_is_used_by_a_rule(book, vocabulary):
    used = {tag for rule in book.in_order for tag in rule.tags}
    assert set(vocabulary.defects) <= used


def test_every_check_is_taken_up_by_a_rule(book):
    used = {leaf.name for rule in book.in_order for leaf in rule.when.leaves("check")}
    assert used == set(CHECK_IDS)


def test_every_source_names_a_document_or_says_common_practice(book):
    documents = ("IRC", "DCA 6", "NDS", "MO-312", "ASTM", "university tests", "common practice")
    for rule in book.in_order:
        assert any(name in rule.source for name in documents), rule.id


def test_rules_that_are_worse_together_say_so_and_raise_the_tier(book):
    combining = [rule for rule in book.in_order if "worse together" in rule.concluded]
    assert len(combining) >= 20
    for rule in combining:
        assert rule.raises, rule.id
        for name in rule.raises:
            raised = book.rules[name]
            ranks = [(tier_rank(a), tier_rank(b)) for a, b in zip(rule.tiers, raised.tiers, strict=True)]
            assert all(worse <= milder for worse, milder in ranks), (rule.id, name)
            assert any(worse < milder for worse, milder in ranks), (rule.id, name)


ENGINEER = {
    "a gap or rotation at the ledger": ("ledger-gap", "nail-only-ledger-gap", "ledger-gap-soft-band"),
    "decay of the house band": ("band-rot", "band-probe", "band-probe-deep", "band-rot-high", "band-wet"),
    "a house cantilever or bay": ("ledger-on-house-overhang",),
    "veneer": ("ledger-on-veneer", "ledger-on-veneer-gap"),
    "open-web floors": ("ledger-on-open-web-floor",),
    "a hot tub or roof on the deck": ("extra-load-hot-tub", "extra-load-hot-tub-over", "extra-load-roof"),
    "two storeys": ("two-storeys",),
    "fire": ("fire",),
    "anything outside a table": tuple(
        f"{part}-outside-tables" for part in ("ledger", "joist", "beam", "post", "footing")
    ),
}


def test_always_an_engineer(book):
    for case, rules in ENGINEER.items():
        for rule in rules:
            assert book.rules[rule].call == "engineer", case


def test_every_rule_on_these_tags_and_facts_calls_the_engineer(book):
    tags = {
        "ledger-gap",
        "band-rot",
        "ledger-on-house-overhang",
        "ledger-on-veneer",
        "ledger-on-open-web-floor",
    }
    for rule in book.in_order:
        if tags & set(rule.tags):
            assert rule.call == "engineer", rule.id


def test_departing_from_today_alone_never_goes_beyond_watch(book):
    for rule in book.in_order:
        if rule.kind == "departs-from-today":
            assert rule.tier == "watch", rule.id


def test_no_rule_speaks_of_the_ledgers_bottom_edge(book):
    for rule in book.in_order:
        words = f"{rule.concluded} {rule.why} {rule.repair} {rule.verify_on_site}".lower()
        assert "bottom edge of the ledger" not in words, rule.id
        assert "ledger's bottom" not in words, rule.id
        assert "caulk" not in words, rule.id


FORBIDDEN = (
    r"\bodds\b",
    r"\blikel(y|ihood)\b",
    r"\bprobab\w*",
    r"\bchances?\b",
    r"\bcollaps\w*",
    r"\bsafe\b",
    r"\bviolat\w*",
    r"\billegal\b",
    r"\bcode requires\b",
    r"\byour (local )?code\b",
    r"\bbuilding department\b",
    r"\binspector will\b",
)


def test_no_words_of_odds_and_none_about_a_local_code(book, vocabulary):
    texts = {
        rule.id: f"{rule.concluded} {rule.why} {rule.repair} {rule.verify_on_site}" for rule in book.in_order
    }
    for name, text in texts.items():
        for pattern in FORBIDDEN:
            assert not re.search(pattern, text, re.IGNORECASE), (name, pattern)


def test_the_two_figures_in_circulation_are_not_quoted(book):
    for rule in book.in_order:
        text = f"{rule.concluded} {rule.why} {rule.repair} {rule.verify_on_site}".lower()
        assert "ninety" not in text, rule.id
        assert "90 per cent" not in text, rule.id
        assert "injur" not in text, rule.id


def test_every_file_of_rules_is_plain_data():
    for path in SHIPPED.glob("*.toml"):
        rows = tomllib.loads(path.read_text(encoding="utf-8"))
        assert set(rows) == {"rule"}, path


def test_rules_name_elements_and_tiers_of_the_trade(book, vocabulary):
    for rule in book.in_order:
        assert rule.element in vocabulary.elements
        assert rule.tier in TIERS
    assert set(fact_elements().values()) <= set(vocabulary.elements)


def test_hash_changes_with_the_words_and_not_with_loading(book, vocabulary, tmp_path):
    from triage.assess.rules import load_rule_book, read_rule_book

    assert load_rule_book(None, vocabulary).hash == book.hash
    text = (SHIPPED / "corrosion.toml").read_text(encoding="utf-8")
    one, other = tmp_path / "one.toml", tmp_path / "other.toml"
    one.write_text(text.split('[[rule]]\nid = "lost-section')[0], encoding="utf-8")
    other.write_text(one.read_text().replace("Look again", "Don't look again").replace("look again", "stare"))
    assert read_rule_book([one], vocabulary).hash != read_rule_book([other], vocabulary).hash
