"""Nobody reads a key: of a shipped tag, of a fact, or of a tag that a firm added itself."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from triage.domain.vocabulary import load_vocabulary
from triage.library import queries
from triage.report.phrases import tag_words
from triage.structure import CHECK_IDS
from triage.structure.facts import FACT_KEYS
from triage.web import render
from triage.web.wording import in_words

OWN = "rim-board-split"
TEMPLATES = Path(render.__file__).parent / "templates"
SENTENCES = re.compile(r"\b(reason|why|why_not|detail|told|fault|message|hint|failed|line)\b")
"""What holds a sentence that was made by a room below, where it ends an expression."""
FREE = {
    "macros.html": "why[photo.sha]",  # a reason that a person wrote
    "waiting.html": "why[photo.sha]",
    "plan_lists.html": "row.told",  # who was told, and when
    "summary.html": "one.tier_by_person.why",
    "say.html": "",  # people's own words
    "error.html": "message",  # put into words where the refusal is made
}


@pytest.fixture
def own(library, tmp_path):
    """The small library with a tag of the firm's own."""
    from triage.label.tags import add_tags

    path = tmp_path / "own.toml"
    path.write_text(
        f'[[tag]]\ntag = "{OWN}"\nelement = "joist"\nkind = "defect"\n'
        'definition = "The rim board is split."\nlooks_like = "A crack along the grain."\n'
        'looks_alike_but_is_not = "A saw mark."\nsource = "own"\n'
    )
    add_tags(library, path)
    return library


def said_in(template: str) -> list[str]:
    """Return the expressions of a template that print a sentence of a room below."""
    found = []
    for line in re.findall(r"\{\{(.*?)\}\}", (TEMPLATES / template).read_text(), re.DOTALL):
        value = line.split("|")[0].strip()
        last = re.split(r"[^\w.\[\]]", value)[-1].split(".")[-1]
        if SENTENCES.search(last.split("[")[0]) and "(" not in value:
            found.append(line.strip())
    return found


def test_every_sentence_of_a_template_is_put_into_words():
    for template in sorted(one.name for one in TEMPLATES.glob("*.html")):
        raw = [one for one in said_in(template) if "in_words" not in one and "plain_hint" not in one]
        free = FREE.get(template)
        assert [one for one in raw if free is None or free not in one] == [], template


def test_no_table_is_wider_than_a_telephone_without_a_place_to_scroll():
    """A table of four columns and more stands in one, but for those that a narrow screen lays out anew."""
    for template in sorted(TEMPLATES.glob("*.html")):
        text = template.read_text()
        for found in re.finditer(r"<table[^>]*>(.*?)</thead>", text, re.DOTALL):
            narrow = (
                found[1].count("<th") < 5 or 'class="decks"' in found[0] or 'class="compared"' in found[0]
            )
            before = text[: found.start()].rstrip().rpartition("<")[2]
            assert narrow or 'class="scroll"' in before, template.name


def test_no_key_is_left_in_a_sentence():
    checks = [one for one in CHECK_IDS if "-" in one]
    for key in [*load_vocabulary().tags, *(one for one in FACT_KEYS if "_" in one), *checks, OWN]:
        for sentence in (f"{key}: absent", f"concern '{key}' is new.", f"needs {key}, species", f"({key})"):
            assert not re.search(rf"\b{key}\b", in_words(sentence, {OWN})), in_words(sentence, {OWN})


def test_own_tags_are_words_in_refusals_in_lists_and_on_every_page_of_a_deck(page, own):
    photo = queries.photos(own, "D-17")[0]
    own.say("label", {"photo": photo.sha, "tag": OWN, "value": "present"}, by="ann")
    own.say("label", {"photo": photo.sha, "tag": OWN, "value": "absent"}, by="ben")
    for where in ("", "deck", "deck/summary", "deck/history", "deck/facts", "deck/say", "disputes", "ready"):
        text = page.get(f"/l/library/{where}", d="D-17").text
        visible = re.sub(r"<script.*?</script>|<[^>]*>", " ", text, flags=re.DOTALL)
        assert not re.search(rf"\b{OWN}\b", visible), (where, visible)
    for given in ({"value": "perhaps"}, {"value": "absent", "boxes": [[0.1, 0.1, 0.1, 0.1]]}):
        told = page.json("/l/library/answer", {"photo": photo.sha, "tag": OWN, **given}).json
        assert OWN not in told.get("error", "") + told.get("hint", ""), told


def test_words_of_own_tags_are_those_of_shipped_ones():
    assert in_words(f"'{OWN}' was said", {OWN}) == f"“{tag_words(OWN)}” was said"
    assert in_words(f"'{OWN}' was said") == f"'{OWN}' was said", "a word that is no tag stays"
