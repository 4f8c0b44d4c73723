"""The rows of a CSV file that somebody else may have written, one at a time and within bounds."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator
from functools import partial
from typing import Final

MOST_BYTES: Final = 128_000_000
MOST_LINES: Final = 2**20
"""As many as a spreadsheet has (common practice, no source)."""
LONGEST_ROW: Final = 2**16
"""Characters of one row. A quote left open would make a row of all the rest."""

_BLOCK: Final = 2**20


class NoRows(ValueError):
    """Bytes that are no CSV within bounds. line: where what is wrong begins; 0 for the whole."""

    def __init__(self, line: int, what: str) -> None:
        super().__init__(what)
        self.line = line


def rows_of(
    data: bytes, signs: str = ",", *, strict: bool = True
) -> Iterator[tuple[int, list[str]]]:
    """Each row, with the number of the line on which it begins: UTF-8, RFC 4180.

    signs: what may stand between cells; the first line that says something decides which one does.
    Blanks before a cell are left out. strict: quotes stand as RFC 4180 has them. Raises NoRows.
    """
    _refuse_many(data)
    _refuse_undecodable(data)
    taken = _Lines(data)
    reader = csv.reader(
        taken,
        delimiter=_delimiter(data, signs),
        skipinitialspace=True,
        strict=strict,  # a quote left open would swallow the rest of the file
    )
    begins = 1
    try:
        for row in reader:
            yield begins, row
            begins = reader.line_num + 1
            taken.length = 0
    except csv.Error as error:
        what = f"this is no CSV ({error}). Look at the double quotes there."
        raise NoRows(begins, what) from error
    except _RowTooLong as error:
        what = f"this row has more than {LONGEST_ROW} characters. Look at the double quotes there."
        raise NoRows(begins, what) from error


class _RowTooLong(Exception):
    pass


class _Lines:
    """The lines of the text with their ends. length: characters since the last row ended."""

    def __init__(self, data: bytes) -> None:
        self.length = 0
        self._read = _text(data).readline

    def __iter__(self) -> Iterator[str]:
        while line := self._read(LONGEST_ROW + 1):
            self.length += len(line)
            if self.length > LONGEST_ROW:
                raise _RowTooLong
            yield line


def _text(data: bytes) -> io.TextIOWrapper:
    return io.TextIOWrapper(io.BytesIO(data), encoding="utf-8-sig", newline="")


def _refuse_many(data: bytes) -> None:
    lines = data.count(b"\n") + data.count(b"\r") - data.count(b"\r\n")
    if lines > MOST_LINES:
        raise NoRows(0, f"there are more than {MOST_LINES} lines. Name another file.")


def _refuse_undecodable(data: bytes) -> None:
    """A block at a time: as one text it could take four times its bytes."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    for start in range(0, len(data), _BLOCK):
        begun = start - len(decoder.getstate()[0])
        try:
            decoder.decode(data[start : start + _BLOCK], final=start + _BLOCK >= len(data))
        except UnicodeDecodeError as error:
            line = data.count(b"\n", 0, begun + error.start) + 1
            raise NoRows(line, "this is no UTF-8. Save the file as CSV in UTF-8.") from error


def _delimiter(data: bytes, signs: str) -> str:
    """The sign that the first line that says something has most of; the first one where none leads."""
    empty = f" \"'\t\r\n{signs}"
    lines = iter(partial(_text(data).readline, LONGEST_ROW), "")
    header = next((line for line in lines if line.strip(empty)), "")
    return max(signs, key=header.count)
