from __future__ import annotations

import pytest

from tests.web.browserless import Client
from tests.web.browsing import Visitor, launched
from triage.web.server import Running


@pytest.fixture
def running(library, tmp_path):
    """A page over the folder that holds the small library of two decks."""
    with Running(tmp_path) as page:
        yield page


@pytest.fixture
def page(running):
    """A browser that was let in and speaks as ann."""
    return Client(running).enter().name("ann")


@pytest.fixture(scope="module")
def browser():
    """A real browser, one for the tests of a module."""
    with launched() as one:
        yield one


@pytest.fixture
def visitor(browser, running):
    """A window of a real browser that was let in and speaks as ann."""
    one = Visitor(browser, running, "ann")
    yield one
    one.close()
