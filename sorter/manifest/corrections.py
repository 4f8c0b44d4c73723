"""The corrections file: a CSV in which a user says which frames are one sequence; read and written."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from functools import lru_cache
from operator import itemgetter
from pathlib import Path
from typing import Final

from sorter.disk.given import read_given
from sorter.errors import BadCorrections, nearest
from sorter.manifest.bounded import MOST_BYTES, NoRows, rows_of
from sorter.manifest.csvfile import WORDS, Column, defused_path, read_path
from sorter.manifest.rows import spelled
from sorter.model.correction import Correction
from sorter.model.kinds import SEQUENCE_KINDS
from sorter.model.quoting import quoted
from sorter.model.sequence import Account


def _guarded_path(path: str) -> str:
    """The path, with `./` before it where a spreadsheet would compute it or its ends are blanks."""
    return f"./{path}" if path != path.strip() else defused_path(path)


_PATH: Final = Column(write=_guarded_path, read=read_path)
_HOW: Final[dict[str, Column]] = {
    "first": _PATH,
    "last": _PATH,
    "kind": Column(write=str, read=str),
    "name": Column(write=WORDS.write, read=lambda cell: WORDS.read(cell.strip())),
}
COLUMNS: Final = tuple(_HOW)

_FORM: Final = f"The first line is {','.join(COLUMNS)}."
_KINDS: Final = [str(kind) for kind in SEQUENCE_KINDS]
_KNOWN: Final = frozenset(_KINDS)


def read_corrections(path: Path) -> tuple[Correction, ...]:
    """The corrections of the file, or of a pipe, in the order of their lines.

    CSV in UTF-8, with commas or with semicolons, as spreadsheets write it in some countries; the
    columns may stand in any order. Blanks around a cell and empty lines say nothing. Paths and names
    may be defused as the manifest's are. An empty last is the same as first. Bounded in bytes, lines
    and time: a million rows take seconds.
    Raises BadCorrections with the file, the line and what is wrong there.
    """
    rows = _rows(path, _bytes(path))
    line, header = next(rows, (1, []))
    _check_header(path, line, header)
    cells_of, count = itemgetter(*map(header.index, COLUMNS)), len(header)
    return tuple(
        _correction(
            path, line, *cells_of(row if len(row) == count else _filled(path, line, row, count))
        )
        for line, row in rows
    )


def corrections_of(account: Account) -> tuple[Correction, ...]:
    """The account as corrections that would make it, one for each sequence in order of capture.

    What the camera merged out of frames that are not on the card stands alone and has none: it can
    be no part of a sequence.
    """
    return tuple(
        Correction(
            first=sequence.frames[0].path,
            last=sequence.frames[-1].path,
            kind=str(sequence.kind),
            name=sequence.name,
        )
        for sequence in account.sequences
        if not sequence.frames[0].facts.merged
    )


def corrections_bytes(corrections: Iterable[Correction]) -> bytes:
    """The whole file, as read_corrections understands it: RFC 4180, UTF-8, safe in a spreadsheet."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for each in corrections:
        writer.writerow([how.write(getattr(each, name)) for name, how in _HOW.items()])
    return spelled(out.getvalue()).encode()


def path_cell(path: str) -> str:
    """A source path as a cell of the file has it, before quotes."""
    return spelled(_PATH.write(path))


def _bytes(path: Path) -> bytes:
    try:
        return read_given(path, MOST_BYTES)
    except OSError as error:
        raise BadCorrections(
            f"{path}: the corrections cannot be read ({error.strerror})."
        ) from error


def _rows(path: Path, data: bytes) -> Iterator[tuple[int, list[str]]]:
    """Each row that says something, with the number of the line on which it begins."""
    try:
        for line, row in rows_of(data, ",;"):
            cells = list(map(str.strip, row))
            if any(cells):
                yield line, cells if cells == row else [_bare(cell) for cell in row]
    except NoRows as error:
        raise _bad(path, error.line, str(error)) from error


def _bare(cell: str) -> str:
    """The cell without the blanks around it; a path with `./` before it keeps those at its end."""
    bare = cell.strip()
    return cell.lstrip() if bare.startswith("./") else bare


def _check_header(path: Path, line: int, header: list[str]) -> None:
    for name in header:
        if name not in COLUMNS:
            raise _bad(path, line, f"there is no column called {quoted(name)}. {_FORM}")
        if header.count(name) > 1:
            raise _bad(path, line, f"the column {quoted(name)} is there twice. {_FORM}")
    for name in COLUMNS:
        if name not in header:
            raise _bad(path, line, f"the column {name!r} is missing. {_FORM}")


def _filled(path: Path, line: int, row: list[str], count: int) -> list[str]:
    """The row with a cell for each column; those that are left out at its end are empty."""
    if len(row) < count:
        return row + [""] * (count - len(row))
    if any(row[count:]):
        what = f"there are {len(row)} cells in {count} columns."
        raise _bad(path, line, f"{what} Put text that holds the sign between cells into quotes.")
    return row


def _correction(  # noqa: PLR0917  the cells in the order of COLUMNS
    path: Path, line: int, first: str, last: str, kind: str, name: str
) -> Correction:
    if not first:
        raise _bad(path, line, "the first frame is not named. Write its path below the card there.")
    if kind and kind not in _KNOWN:
        help_ = nearest(kind.casefold(), _KINDS)
        what = f"there is no kind of sequence called {quoted(kind)}. {help_}"
        raise _bad(path, line, what)
    return Correction(
        first=read_path(first),
        last=read_path(last or first),
        kind=kind,
        name=_name(name) if name else "",
        line=line,
    )


@lru_cache(maxsize=1024)
def _name(cell: str) -> str:
    return _HOW["name"].read(cell)  # type: ignore[no-any-return]


def _bad(path: Path, line: int, what: str) -> BadCorrections:
    return BadCorrections(f"{path}, line {line}: {what}" if line else f"{path}: {what}")
