"""A rule file with a slip is refused when it is loaded, with file, line and rule."""

import pytest

from triage.assess import load_rule_book
from triage.errors import BadInput

GOOD = """# a firm's own rules

[[rule]]
id = "own-rule"
kind = "hazard"
element = "ledger"
tier = "watch"
concluded = "Something was seen."
why = "Load travels through it to the house."
repair = "Mend it by its table."
verify_on_site = "Look at it again."
call = "contractor"
source = "common practice"
when = { all = [ { tag = "ledger-gap" }, { fact = "height_above_grade_ft", over = 5 } ] }
"""


def _load(tmp_path, vocabulary, text):
    path = tmp_path / "rules.toml"
    path.write_text(text, encoding="utf-8")
    return load_rule_book(path, vocabulary)


def test_a_firms_own_rule_is_added(tmp_path, vocabulary, book):
    own = _load(tmp_path, vocabulary, GOOD)
    assert set(own.rules) - set(book.rules) == {"own-rule"}
    assert own.hash != book.hash


def test_a_missing_file_of_own_rules_is_no_fault(tmp_path, vocabulary, book):
    assert load_rule_book(tmp_path / "none.toml", vocabulary).hash == book.hash


def test_a_folder_of_own_rules_is_read_in_order(tmp_path, vocabulary):
    folder = tmp_path / "rules"
    folder.mkdir()
    (folder / "b.toml").write_text(GOOD.replace("own-rule", "rule-b").replace("over = 5", "over = 6"))
    (folder / "a.toml").write_text(GOOD.replace("own-rule", "rule-a"))
    names = list(load_rule_book(folder, vocabulary).rules)
    assert names[-2:] == ["rule-a", "rule-b"]


@pytest.mark.parametrize(
    ("old", "new", "line", "why"),
    [
        ("ledger-gap", "ledger-gab", 14, "unknown tag 'ledger-gab'"),
        ("height_above_grade_ft", "height_ft", 14, "unknown fact 'height_ft'"),
        ('tag = "ledger-gap"', 'check = "ledger-span", verdict = "over"', 14, "unknown check 'ledger-span'"),
        ('tag = "ledger-gap"', 'seen = "roof", is = "well"', 14, "unknown element 'roof'"),
        ("over = 5", 'over = "5"', 14, "over cannot be '5'"),
        ("over = 5", "above = 5", 14, "'above' cannot be combined with 'fact'"),
        (", over = 5", "", 14, "compared with nothing"),
        ('{ tag = "ledger-gap" }', '{ not = { tag = "ledger-gap" } }', 14, "never make a deck better"),
        ('{ tag = "ledger-gap" }', '{ tag = "ledger-gap", at_least = 0 }', 14, "at_least cannot be 0"),
        ('{ tag = "ledger-gap" }', '{ any = [ { tag = "ledger-gap" } ] }', 14, "two or more conditions"),
        ('{ tag = "ledger-gap" }', "{ }", 14, "a condition is a table"),
        ('{ tag = "ledger-gap" }', '{ tag = "ledger-gap", fact = "fire" }', 14, "exactly one of"),
        ('fact = "height_above_grade_ft", over = 5', 'fact = "ledger_on", is = "brick"', 14, "never 'brick'"),
        ('kind = "hazard"', 'kind = "danger"', 5, "field 'kind'"),
        ('tier = "watch"', 'tier = "soon"', 7, "field 'tier'"),
        ('tier = "watch"', 'tier = "nothing-seen"', 7, "field 'tier'"),
        ('element = "ledger"', 'element = "roof"', 6, "unknown element 'roof'"),
        ('call = "contractor"', 'call = "plumber"', 12, "field 'call'"),
        ('source = "common practice"\n', "", 3, "field 'source'"),
        ('source = "common practice"', 'source = "common practice"\ncolor = "red"', 14, "field 'color'"),
        ('"Something was seen."', '"Something was seen"', 8, "ends with a full stop"),
        ('id = "own-rule"', 'id = "Own Rule"', 4, "field 'id'"),
        ('id = "own-rule"', 'id = "ledger-gap"', 4, "the id is taken by ledger.toml"),
        ('tier = "watch"', 'tier = "watch"\ntag = "band-rot"', 8, "not in its condition"),
        ('tier = "watch"', 'tier = "watch"\nraises = ["no-such"]', 8, "names no other rule"),
        ('tier = "watch"', 'tier = "watch"\nraises = ["ledger-gap"]', 7, "is not worse than 'ledger-gap'"),
        ('tier = "watch"', 'tier = "watch"\nreplaces = ["ledger-gap"]', 8, "is milder than 'ledger-gap'"),
    ],
)
def test_a_slip_is_refused_with_file_line_and_rule(tmp_path, vocabulary, old, new, line, why):
    assert old in GOOD
    with pytest.raises(BadInput) as refused:
        _load(tmp_path, vocabulary, GOOD.replace(old, new, 1))
    message = str(refused.value)
    assert f"rules.toml, line {line}: rule '" in message
    assert why in message


def test_departs_beyond_watch_is_refused(tmp_path, vocabulary):
    text = GOOD.replace('"hazard"', '"departs-from-today"').replace('"watch"', '"repair-this-season"')
    with pytest.raises(BadInput, match="line 7: rule 'own-rule': what only departs"):
        _load(tmp_path, vocabulary, text)


def test_the_same_condition_twice_is_refused_whatever_the_order_of_its_parts(tmp_path, vocabulary):
    swapped = GOOD.replace(
        '{ tag = "ledger-gap" }, { fact = "height_above_grade_ft", over = 5 }',
        '{ fact = "height_above_grade_ft", over = 5 }, { tag = "ledger-gap" }',
    ).replace("own-rule", "other-rule")
    with pytest.raises(BadInput, match="rule 'other-rule': has the same condition as rule 'own-rule'"):
        _load(tmp_path, vocabulary, GOOD + swapped)


def test_rules_that_replace_each_other_are_refused(tmp_path, vocabulary):
    one = GOOD.replace('tier = "watch"', 'tier = "watch"\nreplaces = ["other-rule"]')
    two = one.replace("own-rule", "x").replace("other-rule", "own-rule").replace('"x"', '"other-rule"')
    with pytest.raises(BadInput, match="replaces itself"):
        _load(tmp_path, vocabulary, one + two.replace("over = 5", "over = 6"))


@pytest.mark.parametrize("text", ["", "rule = 3", "[[rule", "[other]\nx = 1\n", "[[rule]]\n"])
def test_a_file_that_holds_no_rules_is_refused_by_name(tmp_path, vocabulary, text):
    with pytest.raises(BadInput, match=r"rules\.toml"):
        _load(tmp_path, vocabulary, text)


def test_nothing_in_a_condition_is_run_as_code(tmp_path, vocabulary):
    text = GOOD.replace('"ledger-gap"', "\"__import__('os').system('touch /tmp/never')\"")
    with pytest.raises(BadInput, match="unknown tag"):
        _load(tmp_path, vocabulary, text)


def test_a_file_of_rules_that_changes_is_read_again(tmp_path, vocabulary):
    """The book is kept for the content of its files, not for their names."""
    own = tmp_path / "own.toml"
    own.write_text(GOOD)
    first = load_rule_book(own, vocabulary)
    assert load_rule_book(own, vocabulary) is first
    own.write_text(GOOD.replace("own-rule", "other-rule"))
    assert set(load_rule_book(own, vocabulary).rules) - set(first.rules) == {"other-rule"}
