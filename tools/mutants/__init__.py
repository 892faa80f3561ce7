"""Deliberate faults that the tests must catch."""
