import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent.parent / "assess"))

from triage.assess import RuleBook, load_rule_book
from triage.domain.vocabulary import Vocabulary, load_vocabulary


@pytest.fixture(scope="session")
def vocabulary() -> Vocabulary:
    return load_vocabulary()


@pytest.fixture(scope="session")
def book(vocabulary: Vocabulary) -> RuleBook:
    return load_rule_book(None, vocabulary)
