"""The table of sentences: complete, and read for what no owner may be told."""

from __future__ import annotations

import re

from tools.sentences import OWNER, RECORD, TABLE, Sentence, collect, table

SENTENCES = collect()
PROMISES = re.compile(
    r"(?i)\b(?:is|are|was|looks?) (?:now )?(?:safe|fine|sound|ok|in order)\b|guarantee|certify|no risk"
)
DENIED = re.compile(r"(?i)\b(?:not|never|no|nothing|whether)\b")


def test_every_sentence_that_a_client_can_read_is_listed() -> None:
    assert TABLE.read_text() == table(SENTENCES), (
        "A sentence was added or changed. Run tools/sentences, read what is new as an owner, a builder and a "
        "lawyer would, and commit triage/report/SENTENCES.md."
    )


def test_a_new_sentence_would_be_noticed() -> None:
    assert table([*SENTENCES, Sentence(OWNER, "The deck is fine.", "report/owner.py")]) != table(SENTENCES)
    files = {one.file for one in SENTENCES}
    assert {"report/templates/owner.html", "report/advice.py", "report/plan.py", "domain/tiers.py"} <= files


def test_nothing_reads_as_a_guarantee() -> None:
    """What an inspector is told to look for ('bright steel below is sound') is no promise to anybody."""
    told = [one for one in SENTENCES if one.reader != RECORD or one.file.startswith("report/")]
    assert [one for one in told if PROMISES.search(one.words) and not DENIED.search(one.words)] == []
    assert PROMISES.search("The deck is safe.")


def test_no_sentence_for_an_owner_prints_a_key_or_speaks_of_disagreement() -> None:
    for one in SENTENCES:
        bare = re.sub(r"\{[^}]*\}", "", one.words)
        if one.reader == OWNER and not one.file.startswith("domain/"):
            assert not re.search(r"\b[a-z]+_[a-z_]+\b", bare), one
        if one.file in ("report/owner.py", "report/letter.py", "report/templates/owner.html"):
            assert not re.search(r"(?i)disagree|disput", bare), one
            assert "gathering" not in bare, one
