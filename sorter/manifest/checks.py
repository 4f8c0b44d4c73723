"""checks.csv: what the pictures of a shoot say, a row for each sequence of two or more frames."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Mapping
from io import StringIO
from numbers import Real
from pathlib import Path
from typing import Any, Final

from sorter.disk.given import read_given
from sorter.errors import BadChoice
from sorter.manifest.bounded import MOST_BYTES, NoRows, rows_of
from sorter.manifest.csvfile import defused_text
from sorter.manifest.figures import figure
from sorter.manifest.rows import spelled
from sorter.model.correction import Correction
from sorter.model.finding import CHECK_COLUMNS, Check, Verdict

CHECKS: Final = "checks.csv"
FORMAT_VERSION: Final = 1
"""Grows when a name of the document goes away or changes its meaning."""
_NUMBER: Final = "sequence"
_LISTS: Final = ("surplus", "dark", "odd", "unseen")
"""Columns with the positions that are left out of a trimmed stack; the last two may be missing."""


def checks_bytes(checks: Iterable[Check]) -> bytes:
    """The whole file: UTF-8, RFC 4180, positions with `;` between, each line ended by CRLF."""
    text = StringIO(newline="")
    table = csv.writer(text)  # its lines end as those of RFC 4180 do
    table.writerow(CHECK_COLUMNS)
    table.writerows([_cell(getattr(check, name)) for name in CHECK_COLUMNS] for check in checks)
    return text.getvalue().encode()


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, tuple):
        return ";".join(map(str, value))
    if isinstance(value, Real):
        return figure(value)
    return defused_text(str(value))


def checks_document(checks: Iterable[Check], suggested: Iterable[Correction], *, root: str) -> str:
    """The same as one JSON document."""
    return json.dumps(checks_dict(checks, suggested, root=root), indent=1, allow_nan=False)


def checks_dict(
    checks: Iterable[Check], suggested: Iterable[Correction], *, root: str
) -> dict[str, object]:
    """The same as plain values of JSON: lists are lists, what is empty is null; and what is suggested."""
    return {
        "form": FORMAT_VERSION,
        "root": spelled(root),
        "checks": [
            {name: _plain(getattr(check, name)) for name in CHECK_COLUMNS} for check in checks
        ],
        "suggested": [
            {
                "first": spelled(each.first),
                "last": spelled(each.last),
                "kind": each.kind,
                "why": each.why,
            }
            for each in suggested
        ],
    }


def _plain(value: Any) -> Any:  # noqa: ANN401  whatever a column holds
    return list(value) if isinstance(value, tuple) else value


# ---- read for a hand-off ---------------------------------------------------------------------


def read_best(path: Path) -> dict[int, tuple[int, ...]]:
    """The positions of each sequence's best frames, the best first; without those that have none.

    Raises BadChoice where there is no such file, or it has not this form.
    """
    rows = _rows(path, "--best", "nothing else says which frames are the best")
    try:
        return {
            int(row[_NUMBER]): _positions(row["best_frames"]) for row in rows if row["best_frames"]
        }
    except (KeyError, TypeError, ValueError) as error:
        raise _no_table(path, "--best", "best_frames") from error


def read_verdicts(path: Path) -> dict[int, Verdict]:
    """The verdict on each stack that has one. Raises BadChoice as read_best does."""
    rows = _rows(path, "--verdict", "nothing else holds verdicts")
    try:
        return {int(row[_NUMBER]): Verdict(row["verdict"]) for row in rows if row["verdict"]}
    except (KeyError, TypeError, ValueError) as error:
        raise _no_table(path, "--verdict", "verdict") from error


def read_frames(path: Path, option: str) -> dict[int, int]:
    """How many frames each sequence had when it was checked; nothing where the table does not say it.

    Raises BadChoice as read_best does.
    """
    rows = _rows(path, option, "nothing else holds findings")
    try:
        return {int(row[_NUMBER]): int(row["frames"]) for row in rows if row.get("frames")}
    except (KeyError, TypeError, ValueError) as error:
        raise _no_table(path, option, "frames") from error


def read_left_out(path: Path) -> dict[int, frozenset[int]]:
    """The positions of each sequence that a trimmed stack leaves out. Raises BadChoice as read_best does."""
    rows = _rows(path, "--trim", "nothing else says which frames are to be left out")
    try:
        return {int(row[_NUMBER]): _left_out(row) for row in rows}
    except (KeyError, TypeError, ValueError) as error:
        raise _no_table(path, "--trim", "surplus and dark") from error


def _left_out(row: Mapping[str, str]) -> frozenset[int]:
    must = [row["surplus"], row["dark"]]
    lists = [*must, *(row.get(name) or "" for name in _LISTS[2:])]
    return frozenset(position for text in lists if text for position in _positions(text))


def _rows(path: Path, option: str, why: str) -> list[dict[str, str]]:
    try:
        rows = (row for _, row in rows_of(read_given(path, MOST_BYTES), strict=False) if row)
        header = next(rows, [])
        return [dict.fromkeys(header, "") | dict(zip(header, row, strict=False)) for row in rows]
    except FileNotFoundError as error:
        raise BadChoice(
            f"{option}: {path} is not there, and {why}. Run `sorter check` on the shoot first, or leave "
            f"out {option}."
        ) from error
    except OSError as error:
        raise BadChoice(f"{option}: {path} cannot be read ({error.strerror}).") from error
    except NoRows as error:
        raise BadChoice(f"{option}: {path} is no table of findings that can be read.") from error


def _no_table(path: Path, option: str, column: str) -> BadChoice:
    return BadChoice(
        f"{option}: {path} is no table of findings: it has to have the columns {_NUMBER} and "
        f"{column}, with positions such as 4;2;7."
    )


def _positions(text: str) -> tuple[int, ...]:
    return tuple(int(position) for position in text.split(";"))
