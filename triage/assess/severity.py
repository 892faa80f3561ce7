"""The severity matrix: class of fall x redundancy x severity -> tier, read from `triage/data/severity.toml`.

A firm may replace cells of it in a `severity.toml` in its library. A height that nobody has written
down is read in the last, the worst class. The same file holds the factors that order decks (see `order`)
and the joints of the load path.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from triage.domain.packaged import DATA
from triage.domain.tiers import TIERS
from triage.errors import BadInput

SHIPPED = DATA / "severity.toml"
BY_RATIO = "by-ratio"
UNKNOWN_HEIGHT = "unknown"
_SLACK_FT = 1e-9


@dataclass(frozen=True)
class Fall:
    """A class of fall: its place among them (0 the lowest), factor in the order, and words."""

    name: str
    step: int
    factor: float
    words: str


@dataclass(frozen=True)
class Band:
    """What a check means whose ratio of stress is over `over`."""

    over: float
    severity: str
    redundancy: str


@dataclass(frozen=True)
class Grade:
    """How bad a fault is at whatever height: its severity and the redundancy of the part."""

    severity: str
    redundancy: str


@dataclass(frozen=True)
class Matrix:
    """All that `severity.toml` says, checked: no higher deck and no worse fault reads milder."""

    falls: tuple[Fall, ...]
    tops_ft: tuple[float, ...]
    severities: tuple[str, ...]
    severity_factor: Mapping[str, float]
    redundancy_of: Mapping[str, str]
    redundancy_factor: Mapping[str, tuple[float, ...]]
    tiers: Mapping[str, Mapping[str, tuple[str, ...]]]
    bands: Mapping[str, tuple[Band, ...]]
    power: Mapping[str, float]
    band_source: Mapping[str, str]
    joint_of: Mapping[str, str]
    joint_words: Mapping[str, str]
    rows: tuple[tuple[str, str, str, str], ...]

    def fall(self, height_ft: float | None) -> Fall:
        """Return the class of a height in feet; the worst one where it is not known."""
        if height_ft is not None:
            for top_ft, fall in zip(self.tops_ft, self.falls, strict=False):
                if height_ft <= top_ft + _SLACK_FT:
                    return fall
        return self.falls[-1]

    def height_class(self, height_ft: float | None) -> str:
        """Return the name of the class, or 'unknown'."""
        return UNKNOWN_HEIGHT if height_ft is None else self.fall(height_ft).name

    def tiers_of(self, grade: Grade, at_least: str | None = None) -> tuple[str, ...]:
        """Return the tier of a fault in each class of fall, never milder than `at_least`."""
        row = self.tiers[grade.redundancy][grade.severity]
        return row if at_least is None else tuple(min(tier, at_least, key=TIERS.index) for tier in row)

    def grade_of_check(self, name: str, ratio: float | None) -> Grade | None:
        """Return how bad a check is that is over; null for a check without bands.

        A check that is over without a ratio (no capacity at all) is as bad as its last band.
        """
        bands = self.bands.get(name)
        if bands is None:
            return None
        stress = None if ratio is None else ratio ** self.power[name]
        passed = bands if stress is None else [band for band in bands if stress >= band.over]
        last = passed[-1] if passed else bands[0]
        return Grade(last.severity, last.redundancy)

    def weight(self, grade: Grade, fall: Fall) -> float:
        """Return fall x extent and redundancy x severity: doubling scales, so that their logarithms add."""
        extent = self.redundancy_factor[grade.redundancy][fall.step]
        return fall.factor * extent * self.severity_factor[grade.severity]

    def to_json(self) -> dict[str, Any]:
        """Return the matrix as plain data: tiers by redundancy, severity and fall, bands, sources."""
        return {
            "fall": [fall.name for fall in self.falls],
            "tiers": {
                redundancy: {
                    severity: dict(zip((fall.name for fall in self.falls), row, strict=True))
                    for severity, row in rows.items()
                }
                for redundancy, rows in self.tiers.items()
            },
            "bands": {
                check: {
                    "power": self.power[check],
                    "over": [
                        {"over": one.over, "severity": one.severity, "redundancy": one.redundancy}
                        for one in bands
                    ],
                    "source": self.band_source[check],
                }
                for check, bands in self.bands.items()
            },
            "words": [
                {"kind": kind, "name": name, "words": words, "source": source}
                for kind, name, words, source in self.rows
            ],
        }

    def joint(self, element: str | None) -> str:
        """Return the joint of the load path that an element belongs to."""
        return self.joint_of.get(element or "", "whole-deck")


@cache
def shipped_matrix() -> Matrix:
    """Return the matrix that comes with the program."""
    return _build(_read(SHIPPED), str(SHIPPED))


def load_matrix(own: Path | None) -> Matrix:
    """Return the shipped matrix with a firm's own cells in it.

    Raises BadInput naming the file for what is unknown, or where a worse case would read milder.
    """
    if own is None or not own.exists():
        return shipped_matrix()
    table = _read(SHIPPED)
    theirs = _read(own)
    unknown = sorted(set(theirs) - {"tiers"})
    if unknown:
        raise BadInput(f"{own}: holds '{unknown[0]}'.", "A firm's own table holds cells of [tiers.*] only.")
    for redundancy, severities in theirs.get("tiers", {}).items():
        if redundancy not in table["tiers"] or not isinstance(severities, dict):
            raise BadInput(f"{own}: '{redundancy}' is not one of {', '.join(table['tiers'])}.")
        for severity, row in severities.items():
            if severity not in table["severity"]:
                raise BadInput(f"{own}: '{severity}' is not one of {', '.join(table['severity'])}.")
            table["tiers"][redundancy][severity] = row
    return _build(table, str(own))


_TITLES = {"fall": "Class of fall", "redundancy": "Redundancy of the part", "severity": "Severity"}


def explained(matrix: Matrix) -> list[str]:
    """Return the matrix as lines of text: the tiers, what its words mean, what ratios mean, the sources."""
    lines = [
        "How urgent a fault is, by the height of the deck (an unknown height counts as the last column):"
    ]
    for redundancy, rows in matrix.tiers.items():
        lines += ["", redundancy]
        for severity in matrix.severities:
            cells = ", ".join(
                f"{fall.name}: {tier}" for fall, tier in zip(matrix.falls, rows[severity], strict=True)
            )
            lines.append(f"  {severity}: {cells}")
    lines += ["", "What only departs from today's rules is at 'watch' at every height."]
    for kind, title in _TITLES.items():
        lines += ["", title]
        lines += [
            f"  {name}: {words} [{source}]" for what, name, words, source in matrix.rows if what == kind
        ]
    lines += ["", "What a check's ratio means (ratio to the power given, as a ratio of stress)"]
    for check, bands in matrix.bands.items():
        steps = ", ".join(f"over {one.over:g} {one.severity} ({one.redundancy})" for one in bands)
        lines.append(f"  {check}, power {matrix.power[check]:g}: {steps} [{matrix.band_source[check]}]")
    return lines


def _read(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadInput(f"{path}: cannot be read as a severity table ({error}).") from error


def _build(table: Mapping[str, Any], name: str) -> Matrix:
    falls = tuple(
        Fall(key, step, float(row["factor"]), str(row["words"]))
        for step, (key, row) in enumerate(table["fall"].items())
    )
    severities = tuple(table["severity"])
    tiers = {
        redundancy: {severity: tuple(row) for severity, row in rows.items()}
        for redundancy, rows in table["tiers"].items()
    }
    _check(tiers, severities, len(falls), name)
    last = len(falls) - 1
    return Matrix(
        falls=falls,
        tops_ft=tuple(float(row["up_to_ft"]) for row in table["fall"].values() if "up_to_ft" in row),
        severities=severities,
        severity_factor={key: float(row["factor"]) for key, row in table["severity"].items()},
        redundancy_of={e: key for key, row in table["redundancy"].items() for e in row["elements"]},
        redundancy_factor={
            key: tuple(
                float(row.get("factor_above_10_ft", row["factor"]) if step == last else row["factor"])
                for step in range(len(falls))
            )
            for key, row in table["redundancy"].items()
        },
        tiers=tiers,
        bands={
            key: tuple(
                Band(float(over), severity, redundancy)
                for over, severity, redundancy in zip(
                    row["over"], row["severity"], row["redundancy"], strict=True
                )
            )
            for key, row in table["bands"].items()
        },
        power={key: float(row["power"]) for key, row in table["bands"].items()},
        band_source={key: str(row["source"]) for key, row in table["bands"].items()},
        joint_of={e: key for key, row in table["joint"].items() for e in row["elements"]},
        joint_words={key: str(row["words"]) for key, row in table["joint"].items()},
        rows=tuple(
            (kind, key, str(row["words"]), str(row["source"]))
            for kind in ("fall", "redundancy", "severity")
            for key, row in table[kind].items()
        ),
    )


def _check(
    tiers: Mapping[str, Mapping[str, Sequence[str]]], severities: Sequence[str], classes: int, name: str
) -> None:
    """Refuse a row that is not whole, and a cell milder than one of a lesser fall or a lesser fault."""
    for redundancy, rows in tiers.items():
        below: Sequence[str] | None = None
        for severity in severities:
            row = rows.get(severity)
            where = f"{name}: tiers.{redundancy}.{severity}"
            known = row is not None and all(tier in TIERS[:-1] for tier in row)
            if row is None or len(row) != classes or not known:
                raise BadInput(
                    f"{where} is not a row of {classes} tiers.",
                    f"Tiers, worst first: {', '.join(TIERS[:-1])}.",
                )
            ranks = [TIERS.index(tier) for tier in row]
            if ranks != sorted(ranks, reverse=True):
                raise BadInput(f"{where}: a higher deck would read milder.", "Make it the same or worse.")
            if below is not None and any(
                TIERS.index(tier) > TIERS.index(milder) for tier, milder in zip(row, below, strict=True)
            ):
                raise BadInput(f"{where}: a worse fault would read milder.", "Make it the same or worse.")
            below = row
