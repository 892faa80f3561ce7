"""The modules that take longest, longest first: a long one that begins last leaves the other workers idle."""

SLOWEST = (
    "web/test_browser_pages.py",
    "web/test_browser_line.py",
    "web/test_seen.py",
    "faults/test_kills.py",
    "slate/test_slate_measure.py",
    "test_wheel.py",
    "batch/test_dask.py",
    "train/test_card_and_compare.py",
    "render/test_job.py",
    "web/test_viewer.py",
    "faults/test_writers.py",
    "cli/test_promises.py",
    "report/test_library_reports.py",
    "matching/test_proposals.py",
    "report/test_paper.py",
    "terminal/test_mistyped.py",
    "faults/test_traced.py",
    "library/test_postgres.py",
    "faults/test_left_over.py",
    "web/test_kept.py",
    "test_platforms.py",
    "assess/test_laws_of_harm.py",
    "of_tools/test_page_acts.py",
    "slate/test_slate_commands.py",
    "web/test_forms_shown.py",
    "terminal/test_labeling.py",
    "faults/test_removal.py",
    "web/test_marking.py",
    "render/test_truth.py",
)
"""By `--durations` of a whole run."""


def place(module: str) -> int:
    """Return where a module comes, by its path below `tests`; what is not named comes after what is."""
    return SLOWEST.index(module) if module in SLOWEST else len(SLOWEST)
