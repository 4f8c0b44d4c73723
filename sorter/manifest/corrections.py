"""The corrections file: a CSV in which a user says which frames are one sequence; read and written."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

from sorter.errors import BadCorrections, nearest
from sorter.manifest.csvfile import WORDS, Column, defused_path, read_path
from sorter.manifest.rows import spelled
from sorter.model.correction import Correction
from sorter.model.kinds import SEQUENCE_KINDS
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
_EMPTY: Final = " ,;\"'\t"


def read_corrections(path: Path) -> tuple[Correction, ...]:
    """The corrections of the file in the order of their lines.

    CSV in UTF-8, with commas or with semicolons, as spreadsheets write it in some countries; the
    columns may stand in any order. Blanks around a cell and empty lines say nothing. Paths and names
    may be defused as the manifest's are. An empty last is the same as first.
    Raises BadCorrections with the file, the line and what is wrong there.
    """
    rows = _rows(path, _text(path))
    line, header = next(rows, (1, []))
    _check_header(path, line, header)
    return tuple(_correction(path, line, _cells(path, line, header, row)) for line, row in rows)


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


def _text(path: Path) -> str:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise BadCorrections(
            f"{path}: the corrections cannot be read ({error.strerror})."
        ) from error
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise _bad(path, line, "this is no UTF-8. Save the file as CSV in UTF-8.") from error


def _rows(path: Path, text: str) -> Iterator[tuple[int, list[str]]]:
    """Each row that says something, with the number of the line on which it begins."""
    reader = csv.reader(
        io.StringIO(text, newline=""),
        delimiter=_delimiter(text),
        skipinitialspace=True,
        strict=True,  # a quote left open would swallow the rest of the file
    )
    line = 1
    try:
        for row in reader:
            cells = [_bare(cell) for cell in row]
            if any(cells):
                yield line, cells
            line = reader.line_num + 1
    except csv.Error as error:
        what = f"this is no CSV ({error}). Look at the double quotes there."
        raise _bad(path, line, what) from error


def _bare(cell: str) -> str:
    """The cell without the blanks around it; a path with `./` before it keeps those at its end."""
    bare = cell.strip()
    return cell.lstrip() if bare.startswith("./") else bare


def _delimiter(text: str) -> str:
    header = next((line for line in text.splitlines() if line.strip(_EMPTY)), "")
    return ";" if header.count(";") > header.count(",") else ","


def _check_header(path: Path, line: int, header: list[str]) -> None:
    for name in header:
        if name not in COLUMNS:
            raise _bad(path, line, f"there is no column called {name!r}. {_FORM}")
        if header.count(name) > 1:
            raise _bad(path, line, f"the column {name!r} is there twice. {_FORM}")
    for name in COLUMNS:
        if name not in header:
            raise _bad(path, line, f"the column {name!r} is missing. {_FORM}")


def _cells(path: Path, line: int, header: list[str], row: list[str]) -> dict[str, str]:
    """The row's cells by column; those that are left out at its end are empty."""
    if any(row[len(header) :]):
        what = f"there are {len(row)} cells in {len(header)} columns."
        raise _bad(path, line, f"{what} Put text that holds the sign between cells into quotes.")
    return dict.fromkeys(header, "") | dict(zip(header, row, strict=False))


def _correction(path: Path, line: int, cells: dict[str, str]) -> Correction:
    if not cells["first"]:
        raise _bad(path, line, "the first frame is not named. Write its path below the card there.")
    if cells["kind"] and cells["kind"] not in _KINDS:
        help_ = nearest(cells["kind"].casefold(), _KINDS)
        raise _bad(path, line, f"there is no kind of sequence called {cells['kind']!r}. {help_}")
    told = cells | {"last": cells["last"] or cells["first"]}
    return Correction(**{name: _HOW[name].read(told[name]) for name in COLUMNS}, line=line)


def _bad(path: Path, line: int, what: str) -> BadCorrections:
    return BadCorrections(f"{path}, line {line}: {what}")
