import pytest

from triage.domain.vocabulary import ELEMENTS, load_vocabulary, read_tags
from triage.errors import BadInput

CORE = ("missing-hanger", "rusted-connector", "nail-only-ledger", "debris-at-flashing", "side-bolted-beam")


def test_core_tags_are_the_five_of_the_trade_and_no_other():
    assert sorted(load_vocabulary().core) == sorted(CORE)


def test_every_element_of_a_deck_has_a_shows_tag():
    assert load_vocabulary().elements == ELEMENTS


def test_every_defect_tag_says_how_it_looks_what_resembles_it_and_how_to_photograph_it():
    vocabulary = load_vocabulary()
    for name in vocabulary.defects:
        tag = vocabulary.tag(name)
        for text in (
            tag.definition,
            tag.looks_like,
            tag.looks_alike_but_is_not,
            tag.how_to_photograph,
            tag.source,
        ):
            assert len(text) > 10, name
        assert tag.element in ELEMENTS, name


def test_unknown_tag_is_refused_with_near_names():
    with pytest.raises(BadInput, match="missing-hangar") as refused:
        load_vocabulary().tag("missing-hangar")
    assert "missing-hanger" in refused.value.hint


def _file(tmp_path, text):
    path = tmp_path / "tags.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_firms_own_tags_are_added(tmp_path):
    path = _file(
        tmp_path,
        '[[tag]]\ntag = "shows-lattice"\nkind = "element"\ndefinition = "Lattice is shown."\n'
        '[[tag]]\ntag = "loose-lattice"\nkind = "defect"\nelement = "lattice"\ndefinition = "It hangs."\n',
    )
    vocabulary = load_vocabulary(path)
    assert vocabulary.elements == (*ELEMENTS, "lattice")
    assert vocabulary.tag("loose-lattice").definition == "It hangs."
    assert not vocabulary.tag("loose-lattice").core


def test_identical_tag_changes_nothing_and_a_differing_one_is_refused(tmp_path):
    shipped = load_vocabulary().tag("shows-ledger")
    same = (
        f'[[tag]]\ntag = "{shipped.tag}"\nkind = "element"\nelement = "ledger"\n'
        f'definition = "{shipped.definition}"\nhow_to_photograph = "{shipped.how_to_photograph}"\n'
        f'source = "{shipped.source}"\n'
    )
    assert load_vocabulary(_file(tmp_path, same)).tags == load_vocabulary().tags
    other = _file(tmp_path, same.replace(shipped.definition, "Something else."))
    with pytest.raises(BadInput, match="shows-ledger.*another definition"):
        load_vocabulary(other)


GOOD = '# mine\n\n[[tag]]\ntag = "my-tag"\nkind = "defect"\ndefinition = "It is seen."\n'


@pytest.mark.parametrize(
    ("broken", "line", "field"),
    [
        (GOOD.replace("my-tag", "My Tag"), 4, "tag"),
        (GOOD.replace('"defect"', '"fault"'), 5, "kind"),
        (GOOD.replace('"It is seen."', '""'), 6, "definition"),
        (GOOD.replace('definition = "It is seen."', ""), 3, "definition"),
        (GOOD + 'element = "roof"\n', 7, "element"),
        (GOOD + 'color = "red"\n', 7, "color"),
        (GOOD + "core = true\n", 7, "core"),
        (GOOD + "source = 3\n", 7, "source"),
        (GOOD + GOOD, 10, "tag"),
        (GOOD.replace("my-tag", "shows-my-tag"), 5, "kind"),
    ],
)
def test_a_broken_file_is_refused_with_file_line_and_field(tmp_path, broken, line, field):
    path = _file(tmp_path, broken)
    with pytest.raises(BadInput, match=rf"tags\.toml, line {line}: field '{field}'"):
        read_tags(path)


@pytest.mark.parametrize("text", ["", "tag = 3", "[[tag", 'tag = ["x"]'])
def test_a_file_without_tags_is_refused_by_name(tmp_path, text):
    with pytest.raises(BadInput, match=r"tags\.toml"):
        read_tags(_file(tmp_path, text))
