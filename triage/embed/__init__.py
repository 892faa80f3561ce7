"""Embed: photos to vectors by a frozen network, kept in a cache that may be deleted at any time."""

from triage.embed.vectors import PhotoVectors, Recipe

__all__ = ["PhotoVectors", "Recipe"]
