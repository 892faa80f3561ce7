"""A list never lets a deck of which too little is known read as one where nothing was found."""

import pytest

from triage.report.plan import lead_words


@pytest.mark.parametrize("gaps", ["none", "some", "serious"])
@pytest.mark.parametrize("tier", [None, "nothing-seen"])
def test_nothing_found_stands_alone_only_where_enough_is_known(tier, gaps):
    words = lead_words({"tier": tier, "gaps": gaps, "concerns": []})
    assert (words == "nothing found") == (tier is not None and gaps == "none")


def test_a_deck_with_unknown_facts_says_so():
    words = lead_words({"tier": None, "gaps": "none", "concerns": []})
    assert words == "nothing found, but not enough is known to say"
