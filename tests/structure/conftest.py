"""The laws are tried on the same decks every time, so that a run can be repeated."""

from hypothesis import settings

settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")
