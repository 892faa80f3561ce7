"""Bursts: photos taken in quick succession, or that look nearly alike.

A burst is flagged, never labeled as one: fourteen near-identical photos may show fourteen hangers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

SECONDS_APART = 3.0
BITS_APART = 31
"""Of 256 bits; the distance below which the hash's authors call two pictures alike."""


def number_bursts(rows: Sequence[Mapping[str, Any]]) -> list[int | None]:
    """Return a burst number for each row, null for a single photo.

    Rows carry deck, visit, taken_at, camera and phash and are sorted by deck, visit and time. Two
    neighbors of one deck and visit belong together when the same camera took them within three seconds, or
    when their perceptual hashes differ in at most 31 of 256 bits.
    """
    numbers: list[int | None] = [None] * len(rows)
    latest = 0
    for index in range(1, len(rows)):
        if not _together(rows[index - 1], rows[index]):
            continue
        if numbers[index - 1] is None:
            latest += 1
            numbers[index - 1] = latest
        numbers[index] = numbers[index - 1]
    return numbers


def _together(first: Mapping[str, Any], second: Mapping[str, Any]) -> bool:
    if (first["deck"], first["visit"]) != (second["deck"], second["visit"]):
        return False
    if first["camera"] == second["camera"] and first["taken_at"] and second["taken_at"]:
        one, other = datetime.fromisoformat(first["taken_at"]), datetime.fromisoformat(second["taken_at"])
        same_clock = (one.tzinfo is None) == (other.tzinfo is None)
        if same_clock and abs((other - one).total_seconds()) <= SECONDS_APART:
            return True
    return _bits_apart(first["phash"], second["phash"]) <= BITS_APART


def _bits_apart(first: str | None, second: str | None) -> int:
    if not first or not second or len(first) != len(second):
        return 256
    return (int(first, 16) ^ int(second, 16)).bit_count()
