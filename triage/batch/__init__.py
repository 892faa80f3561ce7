"""Long work: progress, canceling, and the engines that run a step over many items."""

from triage.batch.executor import ENGINES, default_workers, map_items
from triage.batch.outcomes import Cancel, Failed, Ok, Progress, check_cancel

__all__ = [
    "ENGINES",
    "Cancel",
    "Failed",
    "Ok",
    "Progress",
    "check_cancel",
    "default_workers",
    "map_items",
]
