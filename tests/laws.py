"""How many random decks a law is tried on: some in a usual run, 20,000 where DECK_TRIAGE_LONG is set."""

import os

from hypothesis import HealthCheck, settings

LONG = 20_000
QUIET = [HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large]


def decks(usual: int) -> settings:
    number = LONG if os.environ.get("DECK_TRIAGE_LONG") else usual
    return settings(max_examples=number, deadline=None, suppress_health_check=QUIET)
