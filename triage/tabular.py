"""CSV files: one reader and one writer for every table that comes in or goes out.

pandas holds the tables and is imported only when a table is read or written, so that commands without one
start quickly. The cells are split by the `csv` module: `pandas.read_csv` drops a row with a stray quotation
mark without a word once rows may be longer than the header, and a row that vanishes is worse than a slow one.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from triage.errors import BadInput

if TYPE_CHECKING:
    import pandas as pd

DELIMITERS = ",;\t"
_FORMULA = re.compile("'*[=+\\-@\t\r\uff1d\uff0b\uff0d\uff20]")


@dataclass(frozen=True)
class Row:
    """One row that is not blank.

    `number` counts the rows of the file, the header being 1; `line` is the line on which the row ends (a
    quoted cell may run over several); `cells` maps each column to its text, or to null where the row is too
    short to have one; `width` is how many cells the row really has.
    """

    number: int
    line: int
    cells: dict[str, str | None]
    width: int


@dataclass(frozen=True, eq=False)
class Sheet:
    """A CSV file as read.

    Attributes
    ----------
    header : the names of the columns, trimmed and in lower case.
    cells : (rows, columns) the texts as they stand, null where a row is too short; columns by position.
    places : (rows, 3) int64 columns `number`, `line` and `width`, see `Row`.
    """

    header: tuple[str, ...]
    cells: pd.DataFrame
    places: pd.DataFrame

    def rows(self) -> Iterator[Row]:
        """Yield the rows that are not blank; of two columns of one name the last counts."""
        places = self.places.itertuples(index=False, name=None)
        for (number, line, width), cells in zip(
            places, self.cells.itertuples(index=False, name=None), strict=True
        ):
            yield Row(number, line, dict(zip(self.header, cells, strict=True)), width)


def read_text(path: Path) -> str:
    """Return the text of a file in UTF-8 or UTF-16, line ends as they are.

    Raises BadInput for a file that cannot be read or is in another encoding.
    """
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror or error}.") from error
    encoding = "utf-16" if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        return raw.decode(encoding)
    except UnicodeDecodeError as error:
        raise BadInput(f"{path.name} is not UTF-8 text.", "Save it again as 'CSV UTF-8'.") from error


def read_csv(name: str, text: str, delimiters: str = DELIMITERS) -> Sheet:
    """Read CSV text whose first row names the columns; rows without any text are left out.

    The delimiter is the one of `delimiters` that the first line holds most often. Raises BadInput, naming the
    file, for a text that is empty, has no header, or is not CSV.
    """
    import pandas as pd

    first = text.split("\n", 1)[0]
    delimiter = max(delimiters, key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        rows = [(number, reader.line_num, cells) for number, cells in enumerate(reader, start=1)]
    except csv.Error as error:
        raise BadInput(
            f"{name}, line {reader.line_num}: cannot be read as CSV ({error}).",
            "Save it again as CSV (UTF-8).",
        ) from error
    _refuse_open_quote(name, text, delimiter, [line for _, line, _ in rows])
    header = tuple(cell.strip().lower() for cell in rows[0][2]) if rows else ()
    if not any(header):
        raise BadInput(f"{name} is empty or has no header.", "Its first row must name the columns.")
    kept = [row for row in rows[1:] if any(cell.strip() for cell in row[2])]
    width = len(header)
    return Sheet(
        header,
        pd.DataFrame(
            [[*cells[:width], *[None] * (width - len(cells))] for *_, cells in kept],
            columns=range(width),
            dtype=object,
        ),
        pd.DataFrame(
            [(number, line, len(cells)) for number, line, cells in kept],
            columns=["number", "line", "width"],
            dtype="int64",
        ),
    )


def _refuse_open_quote(name: str, text: str, delimiter: str, ends: Sequence[int]) -> None:
    """Raise BadInput where a quotation mark is never closed, so that its cell swallowed the rows below it."""
    start = ends[-2] if len(ends) > 1 else 0
    if not ends or ends[-1] - start < 2:
        return
    last = list(io.StringIO(text, newline=""))[start:]
    try:
        for _ in csv.reader(last, delimiter=delimiter, strict=True):
            pass
    except csv.Error as error:
        raise BadInput(
            f"{name}, line {start + 1}: a quotation mark is opened and never closed.",
            "Close it, or write it twice where the text itself holds one; the rows below it cannot be read.",
        ) from error


def safe_cell(text: str | None) -> str:
    """Return a cell that no spreadsheet takes for a formula: such a text gets a leading apostrophe.

    The usual advice against formula injection (OWASP, 'CSV Injection'); `plain_cell` undoes it.
    """
    return "'" + text if text and _FORMULA.match(text) else text or ""


def plain_cell(text: str) -> str:
    """Return a cell as it was before `safe_cell`."""
    return text[1:] if text.startswith("'") and _FORMULA.match(text) else text


def cell_text(value: Any) -> str:
    """Return a value as a cell: null is empty, truth is true or false, a number reads back equal."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return safe_cell(value) if isinstance(value, str) else repr(value)


def frame_of(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> pd.DataFrame:
    """Return rows as a table of plain Python values (dtype object): nothing is converted, null stays null."""
    import pandas as pd

    return pd.DataFrame(list(rows), columns=list(columns), dtype=object)


def csv_text(
    columns: Sequence[str], rows: Iterable[Sequence[Any]], cell: Callable[[Any], str] = cell_text
) -> str:
    """Return rows as CSV with a header; `cell` makes the text of each value."""
    cells = [[cell(value) for value in row] for row in rows]
    lone = any("\r" in text for row in cells for text in row)  # the csv module leaves a lone \r unquoted
    quoting: Literal[0, 1] = 1 if lone else 0  # QUOTE_ALL, QUOTE_MINIMAL
    return str(frame_of(columns, cells).to_csv(index=False, lineterminator="\n", quoting=quoting))
