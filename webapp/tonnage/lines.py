"""A table's rows as plain lines by plot: a data frame asked row by row costs more than all the arithmetic of an estate."""

from __future__ import annotations

from collections import namedtuple
from typing import Any

import pandas as pd


def by_plot(table: pd.DataFrame, *names: str) -> dict[str, list[Any]]:
    """Plot → its rows in order of day and id, with these columns (None where a column or a value is missing) beside ``plot`` and ``day``."""
    Line = namedtuple("Line", ("plot", "day", *names))
    columns = [_plain(table[name]) if name in table else [None] * len(table) for name in names]
    ids = table["id"].tolist() if "id" in table else [""] * len(table)
    out: dict[str, list[Any]] = {}
    lines = [(day, str(key), Line(plot, day, *rest)) for plot, day, key, *rest in zip(table["plot"].tolist(), table["day"].tolist(), ids, *columns) if plot is not None and plot == plot]
    for _, _, line in sorted(lines, key=lambda one: one[:2]):
        out.setdefault(line.plot, []).append(line)
    return out


def _plain(column: pd.Series) -> list[Any]:
    return [None if value is None or value != value else value for value in column.tolist()]
