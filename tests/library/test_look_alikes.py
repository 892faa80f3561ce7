"""Decks that share look-alike photos: found by banding exactly as by comparing every pair."""

from __future__ import annotations

import numpy as np

from triage.library import look_alikes
from triage.library.bursts import BITS_APART
from triage.library.look_alikes import groups_of, near_pairs


def flipped(digits: str, count: int, draw: np.random.Generator) -> str:
    number = int(digits, 16)
    for bit in draw.choice(256, count, replace=False):
        number ^= 1 << int(bit)
    return f"{number:064x}"


def rows_of(draw: np.random.Generator, decks: int, apart: int) -> list[tuple[str, str, str]]:
    """One photo a deck, and a copy of every third in a deck of another name, `apart` bits away."""
    rows = []
    for number in range(decks):
        digits = draw.bytes(32).hex()
        rows.append((f"p{number}", f"deck-{number:03d}", digits))
        if number % 3 == 0:
            rows.append((f"q{number}", f"copy-{number:03d}", flipped(digits, apart, draw)))
    return rows


def test_every_pair_at_the_limit_is_found_and_none_beyond() -> None:
    draw = np.random.default_rng(3)
    found = groups_of(rows_of(draw, 300, BITS_APART))
    assert len(found.members()) == 100
    assert all(len(decks) == 2 for decks in found.members())
    assert len(found.photos) == 200
    assert groups_of(rows_of(draw, 300, BITS_APART + 1)).members() == []


def test_groups_chain_and_plain_pictures_join_nothing() -> None:
    draw = np.random.default_rng(4)
    first = draw.bytes(32).hex()
    second = flipped(first, 20, draw)
    third = flipped(second, 20, draw)
    rows = [
        ("1", "c", first),
        ("2", "a", second),
        ("3", "b", third),
        ("4", "d", "0" * 64),
        ("5", "e", "0" * 64),
    ]
    found = groups_of(rows)
    assert found.members() == [["a", "b", "c"]]
    assert {found.group(deck) for deck in "abc"} == {"a"}
    assert found.group("d") == "d"


def test_photos_of_one_deck_make_no_group() -> None:
    assert groups_of([("1", "a", "f0" * 32), ("2", "a", "f0" * 32)]).members() == []


def test_a_few_photos_are_compared_with_all_others_as_in_the_whole() -> None:
    """Pairs of some rows: exactly those of all pairs that begin or end there."""
    draw = np.random.default_rng(6)
    rows = rows_of(draw, 60, 20)
    bits = np.frombuffer(bytes.fromhex("".join(row[2] for row in rows)), np.uint8).reshape(-1, 32)
    _, deck = np.unique([row[1] for row in rows], return_inverse=True)
    every = {
        frozenset(pair)
        for left, right in near_pairs(bits, deck)
        for pair in zip(left.tolist(), right.tolist(), strict=True)
    }
    among = np.sort(draw.choice(len(rows), 20, replace=False))
    some = {
        frozenset(pair)
        for left, right in near_pairs(bits, deck, among)
        for pair in zip(left.tolist(), right.tolist(), strict=True)
    }
    assert some == {pair for pair in every if pair & set(among.tolist())}
    assert 0 < len(some) < len(every)


def test_the_bits_are_counted_alike_with_and_without_the_function_of_numpy_2(monkeypatch):
    rows = np.random.default_rng(3).integers(0, 2**64, (50, 4), np.uint64)
    expected = [sum(int(word).bit_count() for word in row) for row in rows]
    assert look_alikes._bits_set(rows).tolist() == expected
    monkeypatch.delattr(np, "bitwise_count", raising=False)
    assert look_alikes._bits_set(rows).tolist() == expected
    assert look_alikes._bits_set(rows.view(np.uint8)).tolist() == expected
