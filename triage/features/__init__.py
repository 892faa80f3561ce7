"""Embed: photos to vectors by a frozen network, kept in a cache that may be deleted at any time.

The names below are imported when first used, so that a command that embeds nothing starts fast.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from triage.features.batch import embed_many
    from triage.features.embedder import Embedder
    from triage.features.models import models_dir
    from triage.features.recipe import default_recipe, make_recipe
    from triage.features.store import VectorStore
    from triage.features.vectors import PhotoVectors, Recipe

__all__ = [
    "Embedder",
    "PhotoVectors",
    "Recipe",
    "VectorStore",
    "default_recipe",
    "embed_many",
    "make_recipe",
    "models_dir",
]

_HOMES = {
    "Embedder": "embedder",
    "PhotoVectors": "vectors",
    "Recipe": "vectors",
    "VectorStore": "store",
    "default_recipe": "recipe",
    "embed_many": "batch",
    "make_recipe": "recipe",
    "models_dir": "models",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"triage.features.{_HOMES[name]}"), name)
