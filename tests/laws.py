"""How many random decks a law is tried on: some in a usual run, 20,000 in a long one."""

from hypothesis import HealthCheck, settings
from long_runs import cases

QUIET = [HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large]


def decks(usual: int) -> settings:
    return settings(max_examples=cases(usual, 20_000), deadline=None, suppress_health_check=QUIET)
