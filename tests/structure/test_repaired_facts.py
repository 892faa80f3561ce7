"""A repair's new fact at a later visit contradicts nothing: it ends what it replaces."""

import pytest

from triage.errors import BadInput
from triage.library import queries
from triage.structure.telling import set_facts

MAY, SEPTEMBER = "2026-05-04", "2026-09-01"


def test_bolts_at_a_later_visit_end_the_nails_of_the_earlier_one(library):
    set_facts(library, "D-17", {"ledger_fastener": "nail", "ledger_nail": "16d-common"}, by="ann", visit=MAY)
    set_facts(library, "D-17", {"ledger_fastener": "half-inch-bolt"}, by="ann", visit=SEPTEMBER)
    now, then = queries.facts(library, "D-17", SEPTEMBER), queries.facts(library, "D-17", MAY)
    assert (now["ledger_fastener"].value, "ledger_nail" in now) == ("half-inch-bolt", False)
    assert (then["ledger_fastener"].value, then["ledger_nail"].value) == ("nail", "16d-common")
    library.undo("ann")
    assert queries.facts(library, "D-17", SEPTEMBER)["ledger_nail"].value == "16d-common", (
        "one act, taken back whole"
    )


def test_two_facts_of_one_visit_that_cannot_both_be_true_are_refused(library):
    set_facts(library, "D-17", {"ledger_fastener": "nail", "ledger_nail": "16d-common"}, by="ann", visit=MAY)
    with pytest.raises(BadInput, match="ledger_nail is given"):
        set_facts(library, "D-17", {"ledger_fastener": "half-inch-bolt"}, by="ann", visit=MAY)
    pair = {"ledger_fastener": "half-inch-bolt", "ledger_nail": "16d-box"}
    with pytest.raises(BadInput, match="ledger_nail is given"):
        set_facts(library, "D-17", pair, by="ann", visit=SEPTEMBER)
