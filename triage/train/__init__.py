"""Train: from people's labels and photo vectors to one small model per tag, with what it can promise.

The names below are imported when first used, so that a command that trains nothing starts fast.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from triage.train.learn import train_tags
    from triage.train.scoring import score
    from triage.train.store import load_model, model_hash, save_model
    from triage.train.types import Promise, Score, TagModel, TooFew, TrainingLabel, TrainingPhoto

__all__ = [
    "Promise",
    "Score",
    "TagModel",
    "TooFew",
    "TrainingLabel",
    "TrainingPhoto",
    "load_model",
    "model_hash",
    "save_model",
    "score",
    "tag_json",
    "train_tags",
]

_HOMES = {
    "Promise": "types",
    "Score": "types",
    "TagModel": "types",
    "TooFew": "types",
    "TrainingLabel": "types",
    "TrainingPhoto": "types",
    "load_model": "store",
    "model_hash": "store",
    "save_model": "store",
    "score": "scoring",
    "tag_json": "report",
    "train_tags": "learn",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"triage.train.{_HOMES[name]}"), name)
