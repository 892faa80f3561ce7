"""Rows as a DataFrame with the dtypes of its columns."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from triage.frames.columns import DTYPES, LOCAL_DTYPE, Column

if TYPE_CHECKING:
    import pandas as pd


def typed_frame(columns: Sequence[Column], rows: Iterable[Sequence[Any]]) -> pd.DataFrame:
    """Return rows (plain values in the order of `columns`, null where missing) as `typed_columns` says.

    A time is parsed as ISO 8601; it is missing in UTC where its zone is not known, and in both columns where
    the text is not such a time. No zone is guessed.
    """
    import pandas as pd

    values = [list(column) for column in zip(*rows, strict=True)] or [[] for _ in columns]
    series: dict[str, pd.Series[Any]] = {}
    for column, cells in zip(columns, values, strict=True):
        if column.kind == "time":
            read = [_moment(text) for text in cells]
            utc = [None if one is None or one.tzinfo is None else one.astimezone(UTC) for one in read]
            local = [None if one is None else one.replace(tzinfo=None) for one in read]
            series[column.name] = pd.Series(pd.DatetimeIndex(utc, tz="UTC"), dtype=DTYPES["time"])
            series[f"{column.name}_local"] = pd.Series(pd.DatetimeIndex(local), dtype=LOCAL_DTYPE)
        else:
            series[column.name] = pd.Series(cells, dtype=DTYPES[column.kind])
    return pd.DataFrame(series)


def _moment(text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None
