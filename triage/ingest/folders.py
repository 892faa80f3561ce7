"""Which deck a folder names: the deepest folder that holds photos, read as people mean it.

Folders of cameras, messengers and days name no deck. A phone's folder or a folder for details belongs to the
folder above it. Folders above a deck are its path: they are added to its name where two decks would otherwise
share one, and where the folder's name only says where at the house the deck is.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from triage.domain.packaged import packaged_toml
from triage.domain.plurals import count_of

_SEPARATOR = "/"


class Says(StrEnum):
    """How much is known of the deck of some photos from where they lie."""

    TOLD = "told"
    """A person named the deck, or the level of folders that does."""
    DECK = "deck"
    """A folder below the given one names it."""
    FLAT = "flat"
    """The given folder, or one whose name may be a deck's or a batch's, holds the photos itself."""
    NOTHING = "nothing"
    """A camera's folder, a messenger's, a day."""


@dataclass(frozen=True)
class Lot:
    """Photos that belong together by their folders: the deck's name (empty where none), and how sure."""

    deck: str
    says: Says
    inside: tuple[str, ...]
    """Folders below the deck's, kept in the photo's name."""


@cache
def _patterns() -> Mapping[str, re.Pattern[str]]:
    data = packaged_toml("folder_names.toml")
    return {
        kind: re.compile("|".join(f"(?:{one})" for one in rows["patterns"]), re.IGNORECASE)
        for kind, rows in data.items()
    }


def is_a(kind: str, name: str) -> bool:
    """Say whether a folder's name is of a kind: camera, messenger, day, device, detail, part_of_house."""
    return _patterns()[kind].fullmatch(name.strip()) is not None


def names_nothing(name: str) -> bool:
    """Say whether a folder's name tells nothing about the deck."""
    return any(is_a(kind, name) for kind in ("camera", "messenger", "day"))


def read_folders(
    folders: Iterable[tuple[str, tuple[str, ...]]], level: int | None = None
) -> dict[tuple[str, tuple[str, ...]], Lot]:
    """Return the lot of every folder that holds photos.

    Each folder is (the given folder's own name, the folders below it that lead to the photos). With `level`
    the folder so many steps below the given one names the deck (0: the given one itself), whatever its name.
    """
    given = list(dict.fromkeys(folders))
    if level is not None:
        return {one: _at_level(*one, level) for one in given}
    read = {one: _read(*one) for one in given}
    for one in given:
        if _is_only_folder_of_a_deck(one, given):
            root, parts = one
            path, says, inside = _read(root, parts[:-1])
            read[one] = (path, says, (*inside, parts[-1]))
    named = _unique({one: path for one, (path, _, _) in read.items() if path})
    return {one: Lot(named.get(one, ""), says, inside) for one, (_, says, inside) in read.items()}


def _is_only_folder_of_a_deck(
    one: tuple[str, tuple[str, ...]], given: Sequence[tuple[str, tuple[str, ...]]]
) -> bool:
    """Whether a folder is the only one in another that is next to decks: then that one is the deck."""
    root, parts = one
    if len(parts) < 2:
        return False
    above = parts[:-1]
    inside = [other for where, other in given if where == root and other[: len(above)] == above]
    beside = [
        other
        for where, other in given
        if where == root
        and len(other) == len(above)
        and other[:-1] == above[:-1]
        and _read(root, other)[1] is Says.DECK
    ]
    return inside == [parts] and bool(beside) and not names_nothing(above[-1])


def _at_level(root: str, parts: tuple[str, ...], level: int) -> Lot:
    cut = min(level, len(parts))
    return Lot(parts[cut - 1] if cut else root, Says.TOLD, parts[cut:])


def _read(root: str, parts: tuple[str, ...]) -> tuple[tuple[str, ...], Says, tuple[str, ...]]:
    """Return the deck's path (empty where nothing names it), how sure it is, and what lies inside."""
    deepest = len(parts)
    while deepest and (is_a("device", parts[deepest - 1]) or is_a("detail", parts[deepest - 1])):
        deepest -= 1
    silent = deepest
    while silent and names_nothing(parts[silent - 1]):
        silent -= 1
    if silent == 0:
        says = Says.NOTHING if names_nothing(root) or silent < deepest else Says.FLAT
        path = () if says is Says.NOTHING else (root,)
        return path, says, parts
    above = tuple(one for one in parts[:silent] if not is_a("camera", one))
    says = Says.FLAT if silent < deepest else Says.DECK
    house = () if names_nothing(root) else (root,)
    if len(above) == 1 and is_a("part_of_house", above[0]) and house and not above[0][:1].isdigit():
        above = (*house, *above)
    return above, says, parts[silent:]


def _unique(
    paths: Mapping[tuple[str, tuple[str, ...]], tuple[str, ...]],
) -> dict[tuple[str, tuple[str, ...]], str]:
    """Return the shortest name for each path: its last folder, and as many above as tell it from others."""
    by_root: dict[str, set[tuple[str, ...]]] = defaultdict(set)
    for (root, _), path in paths.items():
        by_root[root].add(path)
    name_of: dict[tuple[str, tuple[str, ...]], str] = {}
    for root, some in by_root.items():
        for path in some:
            name_of[root, path] = _shortest(path, some)
    return {one: name_of[one[0], path] for one, path in paths.items()}


def _shortest(path: tuple[str, ...], others: Collection[tuple[str, ...]]) -> str:
    least = 2 if len(path) > 1 and is_a("part_of_house", path[-1]) else 1
    for length in range(least, len(path) + 1):
        tail = path[-length:]
        if sum(1 for one in others if _folded(one[-length:]) == _folded(tail)) == 1:
            return _SEPARATOR.join(tail)
    return _SEPARATOR.join(path)


def _folded(parts: Sequence[str]) -> tuple[str, ...]:
    return tuple(part.casefold() for part in parts)


def tree_lines(lots: Iterable[tuple[str, tuple[str, ...], Lot]]) -> list[str]:
    """Return the folders as a tree, each with the deck that it names and how many photos it holds."""
    counts = Counter(lots)
    lines: list[str] = []
    shown: set[tuple[str, ...]] = set()
    for (root, parts, lot), number in sorted(counts.items(), key=lambda pair: (pair[0][0], pair[0][1])):
        whole = (root, *parts)
        for depth in range(1, len(whole) + 1):
            if whole[:depth] in shown:
                continue
            shown.add(whole[:depth])
            end = f": {count_of(number, 'photo')}, {_said(lot)}" if depth == len(whole) else ""
            lines.append(f"{'  ' * (depth - 1)}{whole[depth - 1]}/{end}")
    return lines


def _said(lot: Lot) -> str:
    if lot.says is Says.NOTHING:
        return "names no deck: sorted by time and place"
    if lot.says is Says.FLAT:
        return f"deck {lot.deck} unless something contradicts it"
    return f"deck {lot.deck}"
