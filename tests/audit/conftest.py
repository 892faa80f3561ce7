"""Fixtures of the audit's tests."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from small_libraries import add_photos

from triage.library import Library


@pytest.fixture
def library(tmp_path: Path) -> Iterator[Library]:
    with Library.create(tmp_path / "library") as made:
        yield made


@pytest.fixture
def with_photos(library: Library) -> Callable[[int, int], list[str]]:
    """Add so many decks of so many photos."""

    def add(decks: int, each: int) -> list[str]:
        return add_photos(
            library, [f"d{deck:03d}/{one:03d}.jpg" for deck in range(decks) for one in range(each)]
        )

    return add
