"""A tally as a file and as a document: one line for each group of each shoot; one JSON text."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import asdict, fields
from typing import Final

from sorter.manifest.csvfile import defused_text
from sorter.manifest.figures import figure
from sorter.manifest.rows import spelled
from sorter.model.tally import Counts, Group, Spread, Tables, Tally

FORMAT_VERSION: Final = 1
"""Grows when a name goes away or changes its meaning; new names do not change it."""
NOT_KNOWN: Final = "not told"
MEASURES: Final = tuple(each.name for each in fields(Counts))
COLUMNS: Final = (
    *("shoot", "table", "key", "first", "last"),
    *MEASURES,
    *("frames_least", "frames_median", "frames_most"),
)
_TABLES: Final = {
    "kind": "kinds",
    "lens": "lenses",
    "f_number": "f_numbers",
    "hour": "hours",
    "day": "days",
}
"""The name of a table in the file, and that of its groups."""


def tally_bytes(tally: Tally) -> bytes:
    """The whole CSV file (RFC 4180, UTF-8): names, then a line for each group, ended by CRLF.

    For each shoot its total and its tables; last what all come to together, as the table `all`. The
    key of what is not told is "not told". Text that a spreadsheet would compute is defused.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for each in tally.shoots:
        writer.writerows(_lines(each))
    whole = tally.together
    writer.writerow(_cells("", "all", whole.total, "", _of_all(whole)))
    return spelled(out.getvalue()).encode()


def _lines(tables: Tables) -> Iterator[list[str]]:
    yield _cells(tables.shoot, "total", tables.total, "", _of_all(tables))
    spreads = {str(each.kind): each for each in tables.stacks}
    for table, name in _TABLES.items():
        for group in getattr(tables, name):
            spread = spreads.get(group.key) if table == "kind" else None
            yield _cells(tables.shoot, table, group, group.key or NOT_KNOWN, spread)


def _of_all(tables: Tables) -> Spread | None:
    return next((each for each in tables.stacks if each.kind is None), None)


def _cells(shoot: str, table: str, group: Group, key: str, spread: Spread | None) -> list[str]:
    """One line; how many frames stacks have stands only where there are stacks."""
    numbers = [str(getattr(group.counts, name)) for name in MEASURES]
    ends = ["", "", ""]
    if spread and spread.stacks:
        ends = [str(spread.least), figure(spread.median), str(spread.most)]
    return [defused_text(shoot), table, defused_text(key), group.first, group.last, *numbers, *ends]


def tally_document(tally: Tally) -> str:
    """The same as JSON text, in ASCII."""
    return json.dumps(tally_dict(tally), indent=1, allow_nan=False)


def tally_dict(tally: Tally) -> dict[str, object]:
    """All shoots together, then each, as plain values of JSON; null for what is not told."""
    return {
        "form": FORMAT_VERSION,
        "together": _tables(tally.together),
        "shoots": [
            {"shoot": spelled(each.shoot), "path": spelled(each.path), **_tables(each)}
            for each in tally.shoots
        ],
        "shared": [
            {"shoots": [spelled(each.one), spelled(each.two)], "pictures": each.pictures}
            for each in tally.shared
        ],
    }


def _tables(tables: Tables) -> dict[str, object]:
    groups = {
        name: [_group(table, each) for each in getattr(tables, name)]
        for table, name in _TABLES.items()
    }
    return {
        "total": _figures(tables.total),
        **groups,
        "frames_per_stack": [asdict(each) for each in tables.stacks],
        "not_in_the_shoot": tables.absent,
    }


def _group(table: str, group: Group) -> dict[str, object]:
    return {table: _key(table, group.key), **_figures(group)}


def _key(table: str, key: str) -> object:
    if not key:
        return None
    if table == "hour":
        return int(key)
    return float(key) if table == "f_number" else spelled(key)


def _figures(group: Group) -> dict[str, object]:
    ends = {"first": group.first or None, "last": group.last or None}
    return ends | asdict(group.counts)
