"""Files and rows as tables of pandas."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from sorter.manifest.rows import in_order
from sorter.model.plan import Entry
from sorter.model.row import COLUMNS, Row
from sorter.writing.records import rows_of

if TYPE_CHECKING:
    import pandas as pd


def file_table(entries: Iterable[Entry]) -> pd.DataFrame:
    """A line for each file under the manifest's columns, in its order."""
    return row_table(in_order(rows_of(entries)))


def row_table(rows: Iterable[Row]) -> pd.DataFrame:
    """A line for each row under the manifest's columns; what is not told is None, NaN or NA."""
    import pandas as pd  # noqa: PLC0415  slow to load, and few calls want a table

    lines = [[getattr(row, name) for name in COLUMNS] for row in rows]
    table = pd.DataFrame(lines, columns=list(COLUMNS), dtype=object)
    whole = ("frame", "sequence", "position", "frames", "planned", "bytes")
    figures = ("focal_length_mm", "f_number", "exposure_time_s", "iso", "exposure_bias_ev")
    types = dict.fromkeys(whole, "Int64")
    types |= dict.fromkeys((*figures, "focus_near_m", "focus_far_m"), "float64")
    table = table.astype(types)
    for name in ("kind", "role", "focus_mode", "drive_mode"):
        table[name] = table[name].map(lambda word: None if word is None else str(word))
    return table
