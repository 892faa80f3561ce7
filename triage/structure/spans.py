"""Reading the shortest allowed span of a member off a span table, joists and beams alike."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from triage.structure.check import Facts
from triage.structure.tables import Cell, harder_cell, rows, source_of
from triage.structure.units import feet


@dataclass(frozen=True)
class Span:
    """The shortest span of the rows that apply; `cell` is null where a row ends before the value."""

    span_ft: float
    cell: Cell | None
    load: str
    load_psf: int
    source: str


def shortest_span(
    name: str,
    facts: Facts,
    size: str,
    loads: Iterable[tuple[str, int]],
    columns: Sequence[float],
    value: float,
) -> Span | None:
    """Return the shortest span over live and snow rows, each read at the next harder column.

    Null where the edition has no row for the member; a span without a cell where the value is beyond the last
    column of a row that applies.
    """
    best: Span | None = None
    for kind, psf in loads:
        for row in rows(name, facts.edition, species=facts.species(), size=size, load=kind, load_psf=psf):
            source = source_of(name, row, facts.edition)
            cell = harder_cell(columns, row["spans"], value)
            if cell is None:
                return Span(0.0, None, kind, psf, source)
            span_ft = feet(cell.printed)
            if best is None or span_ft < best.span_ft:
                best = Span(span_ft, cell, kind, psf, source)
    return best
