"""Invented decks, photographed by a path tracer, with exact truth.

Everything but `nodes`, `materials` and `cycles` is plain numpy and runs without the renderer.
"""
