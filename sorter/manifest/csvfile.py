"""The manifest as a file: UTF-8, RFC 4180, every cell safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Final

from sorter.manifest.figures import figure, number
from sorter.manifest.rows import spelled
from sorter.model.kinds import DriveMode, FocusMode, Kind, Role
from sorter.model.note import BETWEEN
from sorter.model.row import COLUMNS, Row

_NOTES: Final = "notes"
_COMPUTED: Final = ("=", "+", "-", "@", "\t", "\r")
# Text that begins with apostrophes and would look as if we had put the first there gets one more,
# so that reading a manifest gives back exactly what was written.
_TEXT: Final = re.compile(r"'*[=+\-@\t\r]")
_DEFUSED: Final = re.compile(r"'+[=+\-@\t\r]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """How a column's values become text and come back."""

    write: Callable[[Any], str]
    read: Callable[[str], Any]


def defused_path(path: str) -> str:
    """The path, with `./` before it where a spreadsheet would compute it."""
    return f"./{path}" if path.startswith(_COMPUTED) else path


def defused_text(text: str) -> str:
    """The text, with an apostrophe before it where a spreadsheet would compute it."""
    return f"'{text}" if _TEXT.match(text) else text


def read_path(cell: str) -> str:
    """The path that a cell holds, defused or not."""
    return cell.removeprefix("./")


def read_text(cell: str) -> str:
    """The text that a cell holds, defused or not."""
    return cell[1:] if _DEFUSED.match(cell) else cell


def _whole(cell: str) -> int | None:
    return int(cell) if cell else None


def _plain(value: object) -> str:
    return "" if value is None else str(value)


_PATH: Final = Column(write=defused_path, read=read_path)
WORDS: Final = Column(write=defused_text, read=read_text)
_WHOLE: Final = Column(write=_plain, read=_whole)
_FIGURE: Final = Column(write=figure, read=number)

_HOW: Final[dict[str, Column]] = {
    "source": _PATH,
    "destination": _PATH,
    "kind": Column(write=str, read=Kind),
    "role": Column(write=str, read=Role),
    "focus_mode": Column(write=_plain, read=lambda cell: FocusMode(cell) if cell else None),
    "drive_mode": Column(write=_plain, read=lambda cell: DriveMode(cell) if cell else None),
    **dict.fromkeys(("frame", "sequence", "position", "frames", "planned", "bytes"), _WHOLE),
    **dict.fromkeys(
        (
            "focal_length_mm",
            "f_number",
            "exposure_time_s",
            "iso",
            "exposure_bias_ev",
            "focus_near_m",
            "focus_far_m",
        ),
        _FIGURE,
    ),
}


def manifest_bytes(rows: Iterable[Row]) -> bytes:
    """The whole file: a line of column names, then a line for each row, each ended by CRLF."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for row in rows:
        writer.writerow([_HOW.get(name, WORDS).write(getattr(row, name)) for name in COLUMNS])
    return spelled(out.getvalue()).encode()


def sums_bytes(rows: Iterable[Row]) -> bytes:
    """The digests of the files in a shoot, as `sha256sum -c` of GNU coreutils reads them.

    A line for each: the digest, two blanks, the path. A path with a backslash or an end of line in
    it is written with escapes, and a backslash before the line says so.
    """
    return "".join(_sum(row) for row in rows if row.sha256).encode()


def _sum(row: Row) -> str:
    path = row.destination.replace("\\", "\\\\").replace("\n", "\\n").replace("\r", "\\r")
    escaped = "\\" if path != row.destination else ""
    return f"{escaped}{row.sha256}  {path}\n"


def read_manifest(data: bytes) -> tuple[Row, ...]:
    """The rows of a manifest that we wrote, cell by cell what was written.

    Raises ValueError where the columns are others or a cell is not of its column's form.
    """
    reader = csv.reader(io.StringIO(data.decode(), newline=""))
    if tuple(next(reader, ())) != COLUMNS:
        raise ValueError("these are not the columns of a manifest")
    return tuple(_read_row(cells) for cells in reader)


def _read_row(cells: list[str]) -> Row:
    pairs = zip(COLUMNS, cells, strict=True)
    values = {name: _HOW.get(name, WORDS).read(cell) for name, cell in pairs}
    notes = values.pop(_NOTES)
    return Row(**values, remarks=tuple(notes.split(BETWEEN)) if notes else ())
